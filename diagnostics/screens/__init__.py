"""The screens of the app: they show, ask, and hand on; whatever counts is in the store, and reckoning is elsewhere."""
