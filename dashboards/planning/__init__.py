"""The page Plan: a form over a plan's questions, with what follows from the answers as they are typed."""
