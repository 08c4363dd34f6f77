"""The mark of the surface that this was made for: hand it in when a folder is opened."""

INTERFACE_MARK = "4759123ca5a3b02f"
