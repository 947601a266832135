//! Nothing that is written carries position, serial numbers, names or previews from a photo's EXIF.

use std::path::{Path, PathBuf};
use std::process::Command;

use base64::Engine as _;
use seatspan::sheet;

const MAKE: &str = "Fieldphone";
const MODEL: &str = "F1 Trial";
const TIME: &str = "2026:05:02 10:11:12";
/// Texts that must not be found anywhere.
const SECRETS: [&str; 8] = [
    "Quillon Ownername",
    "Artist Brambleworth",
    "Copyright Thornapple",
    "BODYSERIAL-004711",
    "LENSSERIAL-004712",
    "Stables at Nowhere Lane",
    "Comment for nobody",
    "THUMBNAIL-BYTES",
];

/// One entry of a directory: tag and value.
enum Value {
    Text(&'static str),
    Short(u16),
    Long(u32),
    Rationals(Vec<(u32, u32)>),
    Bytes(&'static [u8]),
}

/// A big-endian TIFF block with directories for the picture, the camera, the position and a preview
/// (CIPA DC-008, tables 4 to 15).
fn exif() -> Vec<u8> {
    let camera = vec![
        (0x9003, Value::Text(TIME)),
        (0x9286, Value::Bytes(b"ASCII\0\0\0Comment for nobody")),
        (0xa002, Value::Long(4032)),
        (0xa003, Value::Long(3024)),
        (0xa405, Value::Short(26)),
        (0xa430, Value::Text(SECRETS[0])),
        (0xa431, Value::Text(SECRETS[3])),
        (0xa435, Value::Text(SECRETS[4])),
    ];
    let position = vec![
        (0x0001, Value::Text("N")),
        (0x0002, Value::Rationals(vec![(51, 1), (28, 1), (3711, 100)])),
        (0x0003, Value::Text("W")),
        (0x0004, Value::Rationals(vec![(0, 1), (7, 1), (1913, 100)])),
        (0x001c, Value::Bytes(b"ASCII\0\0\0Stables at Nowhere Lane")),
    ];
    let main_entries = |camera_at: u32, position_at: u32| {
        vec![
            (0x010f, Value::Text(MAKE)),
            (0x0110, Value::Text(MODEL)),
            (0x0112, Value::Short(1)),
            (0x013b, Value::Text(SECRETS[1])),
            (0x8298, Value::Text(SECRETS[2])),
            (0x8769, Value::Long(camera_at)),
            (0x8825, Value::Long(position_at)),
        ]
    };
    let mut out = b"MM\0\x2a\0\0\0\x08".to_vec();
    let main_size = directory(&main_entries(0, 0), 8, 0).len() as u32;
    let camera_at = 8 + main_size;
    let camera = directory(&camera, camera_at, 0);
    let position_at = camera_at + camera.len() as u32;
    let position = directory(&position, position_at, 0);
    let preview_at = position_at + position.len() as u32;
    let preview_entries =
        |at: u32| vec![(0x0103, Value::Short(6)), (0x0201, Value::Long(at)), (0x0202, Value::Long(15))];
    let preview_size = directory(&preview_entries(0), preview_at, 0).len() as u32;
    out.extend(directory(&main_entries(camera_at, position_at), 8, preview_at));
    out.extend(camera);
    out.extend(position);
    out.extend(directory(&preview_entries(preview_at + preview_size), preview_at, 0));
    out.extend(SECRETS[7].as_bytes());
    out
}

fn directory(entries: &[(u16, Value)], at: u32, next: u32) -> Vec<u8> {
    let mut out = (entries.len() as u16).to_be_bytes().to_vec();
    let mut beyond: Vec<u8> = Vec::new();
    let beyond_at = at + 2 + 12 * entries.len() as u32 + 4;
    for (tag, value) in entries {
        let (kind, count, bytes): (u16, usize, Vec<u8>) = match value {
            Value::Text(t) => (2, t.len() + 1, [t.as_bytes(), b"\0"].concat()),
            Value::Short(v) => (3, 1, v.to_be_bytes().to_vec()),
            Value::Long(v) => (4, 1, v.to_be_bytes().to_vec()),
            Value::Rationals(list) => {
                let bytes = list.iter().flat_map(|(n, d)| [n.to_be_bytes(), d.to_be_bytes()].concat());
                (5, list.len(), bytes.collect())
            }
            Value::Bytes(b) => (7, b.len(), b.to_vec()),
        };
        out.extend(tag.to_be_bytes());
        out.extend(kind.to_be_bytes());
        out.extend((count as u32).to_be_bytes());
        if bytes.len() <= 4 {
            out.extend(bytes.iter().copied().chain(std::iter::repeat(0)).take(4));
        } else {
            out.extend((beyond_at + beyond.len() as u32).to_be_bytes());
            beyond.extend(bytes);
        }
    }
    out.extend(next.to_be_bytes());
    out.extend(beyond);
    out
}

/// The demo photo with such an EXIF instead of its own.
fn photo_with_secrets(folder: &Path) -> PathBuf {
    let demo = std::fs::read(Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/demo/willow.jpg")).unwrap();
    let block = [b"Exif\0\0".to_vec(), exif()].concat();
    let length = (block.len() as u16 + 2).to_be_bytes();
    let bytes = [&demo[..2], &[0xff, 0xe1], &length, &block, &without_app1(&demo[2..])].concat();
    let path = folder.join("telltale.jpg");
    std::fs::write(&path, bytes).unwrap();
    path
}

/// The segments of a JPEG after its first marker, without those that hold EXIF.
fn without_app1(mut rest: &[u8]) -> Vec<u8> {
    let mut out = Vec::new();
    while let [0xff, marker, high, low, ..] = *rest
        && marker != 0xda
    {
        let end = 2 + usize::from(u16::from_be_bytes([high, low]));
        if marker != 0xe1 {
            out.extend(&rest[..end]);
        }
        rest = &rest[end..];
    }
    out.extend(rest);
    out
}

fn measure(photo: &Path, out: &Path, more: &[&str]) -> Vec<u8> {
    let explain = out.join("explain");
    let output = Command::new(env!("CARGO_BIN_EXE_seatspan"))
        .arg("measure")
        .arg(photo)
        .args(["--view", "top", "--front", "1022.7,1437.4", "--rear", "2335.6,2021.9", "--json", "--svg"])
        .arg("--explain")
        .arg(&explain)
        .arg("--out")
        .arg(out)
        .args(more)
        .output()
        .unwrap();
    assert_eq!(output.status.code(), Some(0), "{output:?}");
    [output.stdout, output.stderr].concat()
}

fn files_below(folder: &Path, found: &mut Vec<PathBuf>) {
    for entry in std::fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() { files_below(&path, found) } else { found.push(path) }
    }
}

fn holds(bytes: &[u8], text: &str) -> bool {
    bytes.windows(text.len()).any(|w| w == text.as_bytes())
}

/// The kinds of chunks of a PNG (W3C PNG, 5.3).
fn chunks(png: &[u8]) -> Vec<String> {
    let (mut rest, mut kinds) = (&png[8..], Vec::new());
    while rest.len() >= 12 {
        let length = u32::from_be_bytes(rest[..4].try_into().unwrap()) as usize;
        kinds.push(String::from_utf8_lossy(&rest[4..8]).into_owned());
        rest = &rest[12 + length..];
    }
    kinds
}

/// A JPEG that an SVG carries.
fn embedded_jpeg(svg: &[u8]) -> Vec<u8> {
    let text = std::str::from_utf8(svg).unwrap();
    let (_, rest) = text.split_once("data:image/jpeg;base64,").expect("an embedded photo");
    let data = rest.split('"').next().unwrap();
    base64::engine::general_purpose::STANDARD.decode(data).unwrap()
}

fn assert_silent(what: &str, bytes: &[u8], secrets: &[&str]) {
    for secret in secrets {
        assert!(!holds(bytes, secret), "{what} holds {secret:?}");
    }
}

#[test]
fn the_photo_of_this_test_does_carry_what_must_not_come_through() {
    let folder = tempfile::tempdir().unwrap();
    let bytes = std::fs::read(photo_with_secrets(folder.path())).unwrap();
    let fields = exif::Reader::new().read_from_container(&mut std::io::Cursor::new(&bytes)).unwrap();
    let has = |tag| fields.fields().any(|f| f.tag == tag);
    assert!(
        has(exif::Tag::GPSLatitude) && has(exif::Tag::BodySerialNumber) && has(exif::Tag::CameraOwnerName)
    );
    assert!(fields.get_field(exif::Tag::JPEGInterchangeFormat, exif::In::THUMBNAIL).is_some());
    assert!(SECRETS.iter().all(|s| holds(&bytes, s)));
}

#[test]
fn nothing_written_carries_position_serial_numbers_names_or_previews() {
    let folder = tempfile::tempdir().unwrap();
    let photo = photo_with_secrets(folder.path());
    for (private, name) in [(false, "open"), (true, "private")] {
        let out = folder.path().join(name);
        let said = measure(&photo, &out, if private { &["--private"] } else { &[] });
        let mut secrets = SECRETS.to_vec();
        if private {
            secrets.extend([MAKE, MODEL, "2026-05-02", "10:11:12", "2026:05:02"]);
        }
        assert_silent("what is printed", &said, &secrets);
        let mut files = Vec::new();
        files_below(&out, &mut files);
        assert!(files.len() >= 7, "{files:?}");
        for file in files {
            let bytes = std::fs::read(&file).unwrap();
            let what = file.display().to_string();
            assert_silent(&what, &bytes, &secrets);
            match file.extension().and_then(|e| e.to_str()) {
                Some("png") => {
                    let kinds = chunks(&bytes);
                    let plain = ["IHDR", "PLTE", "IDAT", "IEND", "sRGB", "gAMA", "cHRM", "pHYs"];
                    assert!(kinds.iter().all(|k| plain.contains(&k.as_str())), "{what}: {kinds:?}");
                }
                Some("svg") => {
                    let jpeg = embedded_jpeg(&bytes);
                    assert!(!holds(&jpeg, "Exif"), "{what}: the embedded photo has EXIF");
                    assert_silent(&what, &jpeg, &secrets);
                }
                _ => {}
            }
        }
        let entry = &sheet::read(&out.join("telltale.sheet.json")).unwrap().photos[0];
        if private {
            assert_eq!((&entry.camera, &entry.taken), (&None, &None));
        } else {
            assert_eq!(entry.camera.as_deref(), Some("Fieldphone F1 Trial"));
            assert_eq!(entry.taken.as_deref(), Some("2026-05-02T10:11:12"));
        }
    }
}
