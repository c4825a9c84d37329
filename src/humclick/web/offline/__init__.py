"""The build of what a browser needs to run the same Python with no network."""
