"""The mark of the surface that this was made for: hand it in when a folder is opened."""

INTERFACE_MARK = "21d4ddc35eec6013"
