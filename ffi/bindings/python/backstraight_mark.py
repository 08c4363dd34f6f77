"""The mark of the surface that this was made for: hand it in when a folder is opened."""

INTERFACE_MARK = "0766375fe3c4c189"
