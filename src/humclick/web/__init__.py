"""The pages: one Python for the server and for the phone without a signal."""
