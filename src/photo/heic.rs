//! HEIC and HEIF.

use crate::numeric::parallel::*;
use heic_rs::context::Context;
use heic_rs::hevc::{self, Frame};
use heic_rs::props::ItemProps;
use heic_rs::props::hvcc::NAL_SPS;
use heic_rs::{Error, MatrixCoefficients, Nclx, PixelLayout, Range, color, grid, transform};

use super::decode::Decoded;
use super::error::PhotoError;
use super::exif;
use super::limits::{Limits, too_large, unreadable_with};
use super::notes::PhotoNote;
use super::orient::Orientation;
use super::vui;

const SHARE_AS_JPEG: &str = "share or export the photo as a JPEG (on the phone: \"most compatible\")";

/// Colour coding where neither container nor stream declares one: BT.601, full range, by ISO/IEC 23000-22 (MIAF).
///
/// The decoder ignores the stream's declaration and assumes BT.709 over 16 to 235. For a phone that writes the full range
/// that clips white paper (240 and more) to 255 and shifts colours by up to 17 levels, hence the steps below instead of one
/// call.
const UNLABELLED: Nclx = Nclx {
    primaries: 1,
    transfer: 13,
    matrix: MatrixCoefficients::Bt601,
    matrix_code: 6,
    range: Range::Full,
};

/// Decodes the primary picture of a HEIC file.
///
/// The container's rotation, mirroring and crop are applied here. The EXIF orientation only repeats them (ISO/IEC 23008-12
/// makes it informative), so it is reset.
pub(super) fn decode(name: &str, bytes: &[u8], limits: &Limits) -> Result<Decoded, PhotoError> {
    let fail = |e: Error| refuse(name, &e);
    let info = heic_rs::probe(bytes).map_err(fail)?;
    limits.check(name, info.coded_width, info.coded_height)?;
    limits.check(name, info.width, info.height)?;
    let context = Context::open(bytes).map_err(fail)?;
    let primary = context.meta.primary;
    let props = context.props(primary).map_err(fail)?;
    let tiling = context.grid(primary).map_err(fail)?;
    let items = tiling.as_ref().map_or_else(|| vec![primary], |(_, tiles)| tiles.clone());
    let parts: Vec<ItemProps> =
        items.iter().map(|i| context.props(*i)).collect::<Result<_, _>>().map_err(fail)?;
    check_coded_pictures(name, &parts, limits)?;

    let mut frames = items
        .par_iter()
        .zip(&parts)
        .map(|(item, props)| coded_picture(&context, *item, props))
        .collect::<Result<Vec<Frame>, Error>>()
        .map_err(fail)?;
    let frame = match &tiling {
        Some((tiling, _)) => grid::compose(tiling, &frames, limits.max_pixels).map_err(fail)?,
        None => frames.pop().ok_or_else(|| refuse(name, &Error::MissingItem(primary)))?,
    };
    drop(frames);
    let colours = colour_coding(props.nclx, &parts);
    let image = color::convert(&frame, None, colours, PixelLayout::Rgb8, limits.max_pixels, None);
    drop(frame);
    let image = image.and_then(|i| transform::apply_all(i, &props.transforms)).map_err(fail)?;

    let mut notes = Vec::new();
    let mut exif = exif::parse_container(bytes, &mut notes);
    exif.orientation = Orientation::Upright;
    // Transfer characteristics of ITU-T H.273: 16 is PQ, 18 is HLG.
    if matches!(colours.transfer, 16 | 18) {
        notes.push(PhotoNote::HdrCurve);
    }
    Ok(Decoded { rgb: image.data, width: image.width as usize, height: image.height as usize, exif, notes })
}

/// The colour coding: the container's, otherwise the stream's, completed with the default.
fn colour_coding(own: Option<Nclx>, parts: &[ItemProps]) -> Nclx {
    let in_container = own.or_else(|| parts.first().and_then(|p| p.nclx));
    let coding = in_container.or_else(|| {
        let sets = parts.first()?.hvcc.as_ref()?.parameter_sets();
        let sps = sets.into_iter().find(|set| set.first().is_some_and(|b| b >> 1 & 0x3f == NAL_SPS))?;
        let stream = vui::stream_colours(sps)?;
        Some(Nclx {
            primaries: UNLABELLED.primaries,
            transfer: stream.transfer,
            matrix: MatrixCoefficients::from_code(stream.matrix),
            matrix_code: stream.matrix,
            range: if stream.full_range { Range::Full } else { Range::Limited },
        })
    });
    match coding {
        None => UNLABELLED,
        Some(n) if n.matrix == MatrixCoefficients::Unspecified => {
            Nclx { matrix: UNLABELLED.matrix, matrix_code: UNLABELLED.matrix_code, ..n }
        }
        Some(n) => n,
    }
}

/// Decodes one coded picture, which may be a tile.
fn coded_picture(context: &Context, item: u32, props: &ItemProps) -> Result<Frame, Error> {
    let hvcc = props.hvcc.as_ref().ok_or(Error::MissingBox("hvcC"))?;
    let data = context.item_data(item)?;
    let frame = hevc::decode_still(&hvcc.parameter_sets(), &hvcc.split_nals(&data)?)?;
    frame.validate()?;
    Ok(frame)
}

/// Checks the sizes declared by the coded pictures, since the container's may be false.
fn check_coded_pictures(name: &str, parts: &[ItemProps], limits: &Limits) -> Result<(), PhotoError> {
    let mut pixels = 0u64;
    for hvcc in parts.iter().filter_map(|p| p.hvcc.as_ref()) {
        let coded = hevc::probe(&hvcc.parameter_sets()).map_err(|e| refuse(name, &e))?;
        pixels = pixels.saturating_add(u64::from(coded.width) * u64::from(coded.height));
    }
    // Tiles overhang the right and lower border by less than a tile; twice the limit is ample.
    if pixels > 2 * limits.max_pixels {
        return Err(too_large(name, "the tiles of the picture declare too many pixels"));
    }
    Ok(())
}

fn refuse(name: &str, error: &Error) -> PhotoError {
    match error {
        Error::PixelLimit { .. } => too_large(name, "the photo has too many pixels"),
        Error::Unsupported(_) => {
            unreadable_with(name, &format!("it is an unsupported kind of HEIC ({error})"), SHARE_AS_JPEG)
        }
        _ => unreadable_with(
            name,
            &format!("the HEIC is damaged or of an unsupported kind ({error})"),
            "share or export the photo as a JPEG; if that fails too, send the original file again",
        ),
    }
}
