/// The mark of the surface that this was made for: hand it in when a folder is opened.
public let interfaceMarkOfBindings = "4759123ca5a3b02f"
