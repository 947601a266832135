//! The sensor: blur and motion in linear light, noise, the tone curve and the file.

use image::codecs::jpeg::JpegEncoder;
use image::codecs::png::PngEncoder;
use image::{ExtendedColorType, ImageEncoder};
use rayon::prelude::*;

use super::noise::{normal_pair, row_generator};
use super::scenario::{CameraSet, SensorSet};
use super::{LinearPicture, SynthError};
use seatspan::photo::srgb::linear_to_srgb;

/// An 8-bit sRGB picture, row by row.
pub struct Levels {
    width: usize,
    height: usize,
    rgb: Vec<u8>,
}

/// Applies vignetting, blur, motion, noise and the tone curve.
pub fn expose(mut picture: LinearPicture, set: &SensorSet, seed: u64) -> Levels {
    vignette(&mut picture, set);
    if set.blur_px > 0.0 {
        let kernel = gaussian(set.blur_px);
        picture = convolved(&picture, |d| (d, 0), &kernel);
        picture = convolved(&picture, |d| (0, d), &kernel);
    }
    if set.motion_px > 0.5 {
        picture = moved(&picture, set);
    }
    let (width, height) = (picture.width, picture.height);
    let mut rgb = vec![0u8; 3 * width * height];
    rgb.par_chunks_mut(3 * width).enumerate().for_each(|(y, row)| {
        let mut rng = row_generator(seed, y);
        for (x, out) in row.chunks_exact_mut(3).enumerate() {
            let (a, b) = normal_pair(&mut rng);
            let (c, _) = normal_pair(&mut rng);
            for ((level, light), n) in out.iter_mut().zip(picture.light[y * width + x]).zip([a, b, c]) {
                let light = f64::from(light);
                *level = encoded(light + n * (set.shot * light + set.read * set.read).sqrt());
            }
        }
    });
    Levels { width, height, rgb }
}

/// The 8-bit sRGB level of linear light, clamped to 0 to 1.
#[inline]
pub fn encoded(light: f64) -> u8 {
    (linear_to_srgb(light.clamp(0.0, 1.0)) * 255.0).round() as u8
}

fn vignette(picture: &mut LinearPicture, set: &SensorSet) {
    let (w, h) = (picture.width as f64, picture.height as f64);
    let width = picture.width;
    picture.light.par_chunks_mut(width).enumerate().for_each(|(y, row)| {
        for (x, pixel) in row.iter_mut().enumerate() {
            let r2 = ((x as f64 - w / 2.0).powi(2) + (y as f64 - h / 2.0).powi(2)) / ((w * w + h * h) / 4.0);
            let factor = (set.exposure * (1.0 - set.vignette * r2)) as f32;
            pixel.iter_mut().for_each(|v| *v *= factor);
        }
    });
}

/// Normalised Gaussian weights at whole pixels.
pub fn gaussian(sigma_px: f64) -> Vec<f32> {
    let reach = (4.0 * sigma_px).ceil() as i32;
    let weights: Vec<f64> =
        (-reach..=reach).map(|d| (-0.5 * (f64::from(d) / sigma_px).powi(2)).exp()).collect();
    let sum: f64 = weights.iter().sum();
    weights.iter().map(|w| (w / sum) as f32).collect()
}

/// Convolution with a kernel along `place`; the border pixels are repeated.
fn convolved(
    picture: &LinearPicture,
    place: impl Fn(i64) -> (i64, i64) + Sync,
    kernel: &[f32],
) -> LinearPicture {
    let (w, h) = (picture.width, picture.height);
    let reach = (kernel.len() / 2) as i64;
    let steps: Vec<(i64, i64, f32)> = (-reach..=reach)
        .zip(kernel)
        .map(|(d, &k)| {
            let (dx, dy) = place(d);
            (dx, dy, k)
        })
        .collect();
    let mut light = vec![[0f32; 3]; w * h];
    light.par_chunks_mut(w).enumerate().for_each(|(y, row)| {
        for &(dx, dy, k) in &steps {
            let from = (y as i64 + dy).clamp(0, h as i64 - 1) as usize * w;
            for (x, out) in row.iter_mut().enumerate() {
                let p = picture.light[from + (x as i64 + dx).clamp(0, w as i64 - 1) as usize];
                out.iter_mut().zip(p).for_each(|(o, v)| *o += k * v);
            }
        }
    });
    LinearPicture { width: w, height: h, light }
}

/// Uniform linear motion blur, centred.
fn moved(picture: &LinearPicture, set: &SensorSet) -> LinearPicture {
    let (w, h) = (picture.width, picture.height);
    let n = (2.0 * set.motion_px).ceil().max(2.0) as usize;
    let (sin, cos) = set.motion_deg.to_radians().sin_cos();
    let shifts: Vec<(f64, f64)> = (0..n)
        .map(|i| ((i as f64 + 0.5) / n as f64 - 0.5) * set.motion_px)
        .map(|d| (d * cos, d * sin))
        .collect();
    let at = |x: f64, y: f64| {
        let (x, y) = (x.clamp(0.0, (w - 1) as f64), y.clamp(0.0, (h - 1) as f64));
        let (i, j) = (x as usize, y as usize);
        let (u, v) = ((x - i as f64) as f32, (y - j as f64) as f32);
        let (i1, j1) = ((i + 1).min(w - 1), (j + 1).min(h - 1));
        let pixel = |i: usize, j: usize| picture.light[j * w + i];
        let (a, b, c, d) = (pixel(i, j), pixel(i1, j), pixel(i, j1), pixel(i1, j1));
        std::array::from_fn::<f32, 3, _>(|k| {
            let top = a[k] + u * (b[k] - a[k]);
            top + v * (c[k] + u * (d[k] - c[k]) - top)
        })
    };
    let mut light = vec![[0f32; 3]; w * h];
    light.par_chunks_mut(w).enumerate().for_each(|(y, row)| {
        for (x, out) in row.iter_mut().enumerate() {
            for &(dx, dy) in &shifts {
                let p = at(x as f64 + dx, y as f64 + dy);
                out.iter_mut().zip(p).for_each(|(o, v)| *o += v / n as f32);
            }
        }
    });
    LinearPicture { width: w, height: h, light }
}

/// The encoded file: JPEG at the sensor's quality, or PNG.
pub fn encode(levels: &Levels, camera: &CameraSet, set: &SensorSet) -> Result<Vec<u8>, SynthError> {
    let mut bytes = Vec::new();
    let (w, h) = (levels.width as u32, levels.height as u32);
    if let Some(quality) = set.jpeg_quality {
        let mut encoder = JpegEncoder::new_with_quality(&mut bytes, quality.clamp(1, 100));
        if let Some(focal) = set.exif_focal_35mm {
            let exif = exif(focal, camera.width as u32, camera.height as u32);
            encoder.set_exif_metadata(exif).map_err(image::ImageError::Unsupported)?;
        }
        encoder.write_image(&levels.rgb, w, h, ExtendedColorType::Rgb8)?;
    } else {
        PngEncoder::new(&mut bytes).write_image(&levels.rgb, w, h, ExtendedColorType::Rgb8)?;
    }
    Ok(bytes)
}

/// A little-endian TIFF block with the 35 mm equivalent focal length and the size of the picture (CIPA DC-008, tags 0xA405,
/// 0xA002, 0xA003).
fn exif(focal_35mm: u16, width: u32, height: u32) -> Vec<u8> {
    const SHORT: u16 = 3;
    const LONG: u16 = 4;
    let entry = |tag: u16, kind: u16, value: u32| {
        let head = [tag.to_le_bytes(), kind.to_le_bytes()].concat();
        [head, 1u32.to_le_bytes().to_vec(), value.to_le_bytes().to_vec()].concat()
    };
    let mut out = b"II*\0".to_vec();
    out.extend(8u32.to_le_bytes());
    // The main directory: orientation, and the offset of the EXIF directory.
    out.extend(2u16.to_le_bytes());
    out.extend(entry(0x0112, SHORT, 1));
    out.extend(entry(0x8769, LONG, 38));
    out.extend(0u32.to_le_bytes());
    out.extend(3u16.to_le_bytes());
    out.extend(entry(0xA002, LONG, width));
    out.extend(entry(0xA003, LONG, height));
    out.extend(entry(0xA405, SHORT, u32::from(focal_35mm)));
    out.extend(0u32.to_le_bytes());
    out
}
