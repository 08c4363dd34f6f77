#!/usr/bin/env bash
# Makes the AAR: a library for each ABI, the bindings, Gradle. Needs the Android SDK with its NDK
# (ANDROID_NDK_HOME), cargo-ndk, rustup's targets and Gradle. Not run in continuous integration.
set -euo pipefail
cd "$(dirname "$0")"
root=$(cd ../.. && pwd)
target=${CARGO_TARGET_DIR:-$root/target}

# ABI, Rust's name for it
abis=(
  "arm64-v8a aarch64-linux-android"
  "armeabi-v7a armv7-linux-androideabi"
  "x86_64 x86_64-linux-android"
)
# Devices with pages of 16 kB load nothing that is laid out for 4.
export RUSTFLAGS="-C link-arg=-Wl,-z,max-page-size=16384"

rm -rf made/jniLibs made/symbols made/bindings
for pair in "${abis[@]}"; do
  read -r abi triple <<<"$pair"
  (cd "$root" && cargo ndk --target "$abi" --platform 26 build --profile phone --locked \
    --package backstraight-ffi --example backstraight --no-default-features --features doors)
  made=$target/$triple/phone/examples/libbackstraight.so
  mkdir -p "made/jniLibs/$abi" "made/symbols/$abi"
  # Symbols go to whoever reads crash reports, not to phones.
  cp "$made" "made/symbols/$abi/"
  "$ANDROID_NDK_HOME"/toolchains/llvm/prebuilt/*/bin/llvm-strip --strip-unneeded -o "made/jniLibs/$abi/libbackstraight.so" "$made"
  if [[ $abi != armeabi-v7a ]] && readelf -lW "made/jniLibs/$abi/libbackstraight.so" | awk '$1 == "LOAD" && $NF != "0x4000"' | grep -q .; then
    echo "$abi: not laid out for pages of 16 kB" >&2
    exit 1
  fi
done
# Bindings and libraries are of one surface: each says its mark when a folder is opened.
mkdir -p made/bindings
cp -r "$root/ffi/bindings/kotlin/backstraight" made/bindings/
gradle --no-daemon assembleRelease publishToMavenLocal
