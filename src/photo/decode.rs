//! Bytes to pixels, whatever the format, with decoders kept from taking the program down.

use std::cell::Cell;
use std::panic::{self, AssertUnwindSafe};
use std::sync::Once;
use std::sync::atomic::{AtomicUsize, Ordering};

use super::error::PhotoError;
use super::exif::Exif;
use super::format::Format;
use super::limits::{Limits, unreadable};
use super::notes::PhotoNote;
use super::{heic, jpeg, raster};
use crate::numeric::parallel;

/// A decoded file: interleaved 8-bit RGB as stored, and what the file says of it.
pub(super) struct Decoded {
    pub rgb: Vec<u8>,
    pub width: usize,
    pub height: usize,
    pub exif: Exif,
    pub notes: Vec<PhotoNote>,
}

/// Decodes a file by its content.
///
/// Decoders and the EXIF reader meet files made to break them. Should one panic all the same, the panic ends
/// here as a refusal, without a message of its own.
pub(super) fn decode(name: &str, bytes: &[u8], limits: &Limits) -> Result<(Format, Decoded), PhotoError> {
    let format = Format::of(name, bytes)?;
    let decoded = without_panic(|| match format {
        Format::Jpeg => jpeg::decode(name, bytes, limits),
        Format::Png | Format::WebP | Format::Tiff => raster::decode(name, bytes, format, limits),
        Format::Heic => heic::decode(name, bytes, limits),
    })
    .unwrap_or_else(|| Err(unreadable(name, &format!("damaged {} (its decoder failed)", format.name()))))?;
    Ok((format, decoded))
}

/// How many decodings run at the moment, in all threads.
static RUNNING: AtomicUsize = AtomicUsize::new(0);

thread_local! {
    static QUIET: Cell<bool> = const { Cell::new(false) };
}

/// Runs `work`; none where it panicked.
fn without_panic<T>(work: impl FnOnce() -> T) -> Option<T> {
    silence_decoders();
    RUNNING.fetch_add(1, Ordering::SeqCst);
    let before = QUIET.replace(true);
    let result = panic::catch_unwind(AssertUnwindSafe(work));
    QUIET.set(before);
    RUNNING.fetch_sub(1, Ordering::SeqCst);
    result.ok()
}

/// Puts a panic hook in front of the one in place, once: it keeps quiet for a thread that decodes, and for
/// worker threads while anything is decoded (a decoder may spread its tiles over them). All other panics go to
/// the hook that was there.
fn silence_decoders() {
    static ONCE: Once = Once::new();
    ONCE.call_once(|| {
        let previous = panic::take_hook();
        panic::set_hook(Box::new(move |info| {
            let worker = parallel::current_thread_index().is_some() && RUNNING.load(Ordering::SeqCst) > 0;
            if !worker && !QUIET.get() {
                previous(info);
            }
        }));
    });
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_panic_in_a_decoder_ends_there() {
        assert_eq!(without_panic(|| 7), Some(7));
        assert_eq!(without_panic(|| -> u8 { panic!("must not be seen") }), None);
        let from_worker = without_panic(|| {
            parallel::join(|| -> u8 { panic!("must not be seen") }, || ());
        });
        assert_eq!(from_worker, None);
        assert!(!QUIET.get());
    }
}
