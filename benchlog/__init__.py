"""benchlog: does an added, switched power install on a motorcycle do what was planned?"""
