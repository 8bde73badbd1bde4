//! Photos: their kinds, and their content for a view.

use crate::kept;
use std::path::Path;

/// Largest photo, bytes.
pub const LARGEST: usize = 12 << 20;

/// Start of the names of photos.
pub const START: &str = "photo-";

/// A kind of picture.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct PictureFormat {
    /// Ending of names.
    pub ending: &'static str,
    /// Media type.
    pub media: &'static str,
}

/// The kind of a picture by its first bytes: JPEG (ITU-T T.81, annex B), PNG (ISO/IEC 15948, 5.2), WebP (RFC 9649); from memory.
pub fn kind(bytes: &[u8]) -> Option<PictureFormat> {
    let webp = bytes.starts_with(b"RIFF") && bytes.get(8..12) == Some(b"WEBP");
    let kinds = [
        (bytes.starts_with(b"\xff\xd8\xff"), "jpg", "image/jpeg"),
        (bytes.starts_with(b"\x89PNG\r\n\x1a\n"), "png", "image/png"),
        (webp, "webp", "image/webp"),
    ];
    kinds.into_iter().find(|(is, ..)| *is).map(|(_, ending, media)| PictureFormat { ending, media })
}

/// A photo of a folder by its plain name: media type and content; `None` for anything else.
pub fn read(folder: &Path, name: &str) -> Option<(&'static str, Vec<u8>)> {
    let bytes = name.starts_with(START).then(|| kept::file(folder, name, LARGEST as u64)).flatten()?;
    Some((kind(&bytes)?.media, bytes))
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::fs;

    #[test]
    fn only_photos_of_the_folder_are_read() {
        let folder = tempfile::tempdir().expect("a folder");
        let picture = b"\x89PNG\r\n\x1a\n and more";
        for (name, bytes) in [("photo-a.png", &picture[..]), ("photo-b.png", b"<svg>"), ("record.json", picture)] {
            fs::write(folder.path().join(name), bytes).expect("written");
        }
        assert_eq!(read(folder.path(), "photo-a.png"), Some(("image/png", picture.to_vec())));
        for name in ["photo-b.png", "record.json", "photo-c.png", "../photo-a.png", "photo-x/../photo-a.png", ""] {
            assert_eq!(read(folder.path(), name), None, "{name}");
        }
        assert_eq!(kind(b"RIFF\0\0\0\0WEBPVP8 ").map(|kind| kind.ending), Some("webp"));
        assert_eq!(kind(b"GIF89a"), None);
    }
}
