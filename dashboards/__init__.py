"""The pages: thin Dash pages over the store, the figures and the state of running recordings."""
