"""The whole desk as one file, and back."""
