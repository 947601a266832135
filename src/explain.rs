//! Pictures of what each stage saw and decided, for `--explain`.
//!
//! A stage adds a picture of what it looked at, with marks where it found something. Nothing is made while nobody collects.

use std::io::Cursor;
use std::sync::{Mutex, PoisonError};

use image::{ImageFormat, Luma, Rgb, RgbImage};
use imageproc::drawing::{draw_cross_mut, draw_line_segment_mut};

/// Collector of explanation pictures.
#[derive(Debug, Default)]
pub struct Explanation(Option<Mutex<Vec<Picture>>>);

impl Explanation {
    /// Collects nothing.
    pub const OFF: &'static Self = &Self(None);

    /// A collector without pictures yet.
    pub fn on() -> Self {
        Self(Some(Mutex::default()))
    }

    /// Adds a picture, which is only made if pictures are collected.
    pub fn add(&self, picture: impl FnOnce() -> Picture) {
        if let Some(pictures) = &self.0 {
            let picture = picture();
            pictures.lock().unwrap_or_else(PoisonError::into_inner).push(picture);
        }
    }

    /// The pictures as PNG files: names in the order in which they were added, and bytes.
    pub fn files(self) -> Vec<(String, Vec<u8>)> {
        let pictures = self.0.map(Mutex::into_inner).map(|all| all.unwrap_or_else(PoisonError::into_inner));
        let pictures = pictures.unwrap_or_default().into_iter().enumerate();
        pictures.map(|(i, picture)| (format!("{:02}-{}.png", i + 1, picture.name), picture.png())).collect()
    }
}

/// Colours of marks.
pub mod colour {
    use image::Rgb;

    /// What was only proposed.
    pub const PROPOSED: Rgb<u8> = Rgb([255, 140, 0]);
    /// What was accepted.
    pub const ACCEPTED: Rgb<u8> = Rgb([0, 220, 90]);
    /// A traced edge.
    pub const EDGE: Rgb<u8> = Rgb([0, 200, 255]);
    /// A rival of a traced edge.
    pub const RIVAL: Rgb<u8> = Rgb([255, 60, 200]);
}

/// A picture with marks; its coordinates have their origin at the centre of the top-left pixel.
#[derive(Debug, Clone)]
pub struct Picture {
    name: &'static str,
    image: RgbImage,
}

impl Picture {
    /// A picture of a stage.
    pub fn new(name: &'static str, image: RgbImage) -> Self {
        Self { name, image }
    }

    /// Grey levels, row by row.
    pub fn grey(name: &'static str, levels: &[u8], width: usize) -> Self {
        let size = (width as u32, levels.len().checked_div(width).unwrap_or(0) as u32);
        Self::new(
            name,
            RgbImage::from_fn(size.0, size.1, |x, y| Rgb([levels[y as usize * width + x as usize]; 3])),
        )
    }

    /// Probabilities by row and column, their square roots as grey levels, each enlarged to `scale` pixels.
    pub fn probabilities(
        name: &'static str,
        size: [usize; 2],
        scale: u32,
        at: impl Fn(usize, usize) -> f32,
    ) -> Self {
        let [rows, columns] = size.map(|n| n as u32 * scale);
        let level = |x: u32, y: u32| (255.0 * at((y / scale) as usize, (x / scale) as usize).sqrt()) as u8;
        let grey = image::GrayImage::from_fn(columns, rows, |x, y| Luma([level(x, y)]));
        Self::new(name, image::DynamicImage::from(grey).into_rgb8())
    }

    /// Draws a line through points.
    pub fn line(mut self, points: &[[f64; 2]], colour: Rgb<u8>) -> Self {
        for pair in points.windows(2) {
            let [from, to] = [pair[0], pair[1]].map(|[x, y]| (x as f32, y as f32));
            draw_line_segment_mut(&mut self.image, from, to, colour);
        }
        self
    }

    /// Draws crosses at points.
    pub fn crosses(mut self, points: &[[f64; 2]], colour: Rgb<u8>) -> Self {
        for [x, y] in points {
            draw_cross_mut(&mut self.image, colour, x.round() as i32, y.round() as i32);
        }
        self
    }

    fn png(&self) -> Vec<u8> {
        let mut bytes = Cursor::new(Vec::new());
        self.image.write_to(&mut bytes, ImageFormat::Png).expect("writing to memory does not fail");
        bytes.into_inner()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn pictures_are_made_only_where_they_are_collected() {
        Explanation::OFF.add(|| unreachable!());
        let explain = Explanation::on();
        explain.add(|| Picture::grey("first", &[0; 12], 4).line(&[[0.0, 1.0], [3.0, 1.0]], colour::EDGE));
        explain.add(|| Picture::probabilities("second", [2, 3], 4, |_, _| 1.0));
        let files = explain.files();
        let names: Vec<_> = files.iter().map(|f| f.0.as_str()).collect();
        assert_eq!(names, ["01-first.png", "02-second.png"]);
        let drawn = image::load_from_memory(&files[0].1).unwrap().into_rgb8();
        assert_eq!((*drawn.get_pixel(2, 1), *drawn.get_pixel(2, 2)), (colour::EDGE, Rgb([0; 3])));
    }
}
