"""Published crop, container, medium and salt values, each with its source, and their loaders."""
