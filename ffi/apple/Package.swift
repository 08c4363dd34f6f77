// swift-tools-version:5.9
// The doors for iOS and macOS. `build.sh` puts the compiled libraries and the bindings in place first, on a Mac.
import PackageDescription

let package = Package(
    name: "Backstraight",
    platforms: [.iOS(.v15), .macOS(.v12)],
    products: [.library(name: "Backstraight", targets: ["Backstraight"])],
    targets: [
        .binaryTarget(name: "BackstraightFFI", path: "build/BackstraightFFI.xcframework"),
        .target(name: "Backstraight", dependencies: ["BackstraightFFI"]),
    ]
)
