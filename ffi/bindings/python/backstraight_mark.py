"""The mark of the surface that this was made for: hand it in when a folder is opened."""

INTERFACE_MARK = "5b5381ae5d1a70f7"
