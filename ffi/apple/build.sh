#!/usr/bin/env bash
# Makes the XCFramework and puts the bindings beside courier and key store. Needs a Mac with Xcode and rustup's targets.
# Not run in continuous integration; the bindings themselves are, by `cargo xtask doors swift`.
set -euo pipefail
cd "$(dirname "$0")"
root=$(cd ../.. && pwd)
target=${CARGO_TARGET_DIR:-$root/target}

# The oldest systems that the package is for; what C there is would else be made for the newest.
export IPHONEOS_DEPLOYMENT_TARGET=15.0 MACOSX_DEPLOYMENT_TARGET=12.0

build() {
  (cd "$root" && cargo rustc --profile phone --locked --package backstraight-ffi --lib --crate-type staticlib \
    --no-default-features --features doors --target "$1")
}
library() { echo "$target/$1/phone/libbackstraight_ffi.a"; }

for triple in aarch64-apple-ios aarch64-apple-ios-sim x86_64-apple-ios aarch64-apple-darwin x86_64-apple-darwin; do
  build "$triple"
done

rm -rf build
mkdir -p build/headers/BackstraightFFI build/simulator build/mac
cp "$root/ffi/bindings/swift/BackstraightFFI.h" build/headers/BackstraightFFI/
# A framework has one map, under this name.
cp "$root/ffi/bindings/swift/BackstraightFFI.modulemap" build/headers/BackstraightFFI/module.modulemap
lipo -create "$(library aarch64-apple-ios-sim)" "$(library x86_64-apple-ios)" -output build/simulator/libbackstraight.a
lipo -create "$(library aarch64-apple-darwin)" "$(library x86_64-apple-darwin)" -output build/mac/libbackstraight.a
xcodebuild -create-xcframework \
  -library "$(library aarch64-apple-ios)" -headers build/headers \
  -library build/simulator/libbackstraight.a -headers build/headers \
  -library build/mac/libbackstraight.a -headers build/headers \
  -output build/BackstraightFFI.xcframework

cp "$root/ffi/bindings/swift/Backstraight.swift" "$root/ffi/bindings/swift/Mark.swift" Sources/Backstraight/
swift build
