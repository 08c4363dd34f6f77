/// The mark of the surface that this was made for: hand it in when a folder is opened.
public let interfaceMarkOfBindings = "939c54bb1dc0a5cf"
