//! Compressed twins of files, made once so that a server never compresses a page. Knows no file.

use std::io::Write as _;

/// Whether a file gets smaller. Pictures are compressed already.
pub(crate) fn is_worth_it(name: &str) -> bool {
    !name.ends_with(".png")
}

/// As small as brotli can.
pub(crate) fn brotli(bytes: &[u8]) -> std::io::Result<Vec<u8>> {
    let mut out = Vec::new();
    let how = brotli::enc::BrotliEncoderParams {
        quality: 11,
        lgwin: 24,
        size_hint: bytes.len(),
        ..Default::default()
    };
    brotli::BrotliCompress(&mut &bytes[..], &mut out, &how)?;
    Ok(out)
}

/// As small as gzip can, for the few clients that know no brotli.
pub(crate) fn gzip(bytes: &[u8]) -> std::io::Result<Vec<u8>> {
    let mut out = flate2::write::GzEncoder::new(Vec::new(), flate2::Compression::best());
    out.write_all(bytes)?;
    out.finish()
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::io::Read as _;

    #[test]
    fn twins_open_to_what_went_in() {
        let text = "lane ".repeat(4_000).into_bytes();
        let (br, gz) = (brotli(&text).unwrap(), gzip(&text).unwrap());
        assert!(br.len() < gz.len() && gz.len() < 200, "{} {}", br.len(), gz.len());
        let mut back = Vec::new();
        brotli::BrotliDecompress(&mut &br[..], &mut back).unwrap();
        assert_eq!(back, text);
        back.clear();
        flate2::read::GzDecoder::new(&gz[..]).read_to_end(&mut back).unwrap();
        assert_eq!(back, text);
        assert!(is_worth_it("a.wasm") && !is_worth_it("icons/a.png"));
    }
}
