"""The prop in a browser on this machine: boards are moved by hand and the glow follows."""
