//! Decoding of any format, isolated from panics of the decoders.

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

/// A decoded file: interleaved 8-bit RGB as stored, with its metadata.
pub(super) struct Decoded {
    pub rgb: Vec<u8>,
    pub width: usize,
    pub height: usize,
    pub exif: Exif,
    pub notes: Vec<PhotoNote>,
}

/// Decodes a file by its content. A panic in a decoder or in the EXIF reader becomes a refusal, without a message of its
/// own.
pub(super) fn decode(name: &str, bytes: &[u8], limits: &Limits) -> Result<(Format, Decoded), PhotoError> {
    without_panic(|| {
        let format = Format::of(name, bytes)?;
        let decoded = match format {
            Format::Jpeg => jpeg::decode(name, bytes, limits),
            Format::Png | Format::WebP | Format::Tiff => raster::decode(name, bytes, format, limits),
            Format::Heic => heic::decode(name, bytes, limits),
        };
        Ok((format, decoded?))
    })
    .unwrap_or_else(|| Err(unreadable(name, "the file is damaged (its decoder failed)")))
}

/// Decodings in progress, in all threads.
static RUNNING: AtomicUsize = AtomicUsize::new(0);

thread_local! {
    static QUIET: Cell<bool> = const { Cell::new(false) };
}

/// Runs `work`; `None` after a panic.
fn without_panic<T>(work: impl FnOnce() -> T) -> Option<T> {
    silence_decoders();
    RUNNING.fetch_add(1, Ordering::SeqCst);
    let before = QUIET.replace(true);
    let result = panic::catch_unwind(AssertUnwindSafe(work));
    QUIET.set(before);
    RUNNING.fetch_sub(1, Ordering::SeqCst);
    result.ok()
}

/// Installs, once, a panic hook that is silent for a thread that decodes, and for worker threads during a decoding (a
/// decoder may spread its tiles over them). All other panics go to the previous hook.
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
    fn a_panic_in_a_decoder_is_contained() {
        assert_eq!(without_panic(|| 7), Some(7));
        assert_eq!(without_panic(|| -> u8 { panic!("must not be seen") }), None);
        let from_worker = without_panic(|| {
            parallel::join(|| -> u8 { panic!("must not be seen") }, || ());
        });
        assert_eq!(from_worker, None);
        assert!(!QUIET.get());
    }
}
