//! A canvas with a picture as PNG.

use image::codecs::png::{CompressionType, FilterType, PngEncoder};
use image::{ExtendedColorType, ImageEncoder, RgbImage};
use tiny_skia::{
    Color, FillRule, FilterQuality, Paint, Path as SkiaPath, PathBuilder, Pixmap, PixmapPaint,
    Stroke as SkiaStroke, StrokeDash, Transform,
};

use super::{Canvas, CanvasError, Colour, Item, Path, Step, Stroke};

impl Canvas {
    /// The canvas as a PNG at the resolution of its first picture, whose pixels stay as they are.
    ///
    /// # Errors
    /// No picture, or a size or coordinate that is not finite.
    pub fn to_png(&self) -> Result<Vec<u8>, CanvasError> {
        self.check()?;
        let px_per_mm = self.items.iter().find_map(|item| match item {
            Item::Picture { image, rect } => Some(f64::from(image.width()) / rect[2]),
            _ => None,
        });
        let px_per_mm = px_per_mm.ok_or(CanvasError::Geometry)?;
        let [width, height] = [self.width_mm, self.height_mm].map(|mm| (mm * px_per_mm).round() as u32);
        let mut pixmap = Pixmap::new(width, height).ok_or(CanvasError::Geometry)?;
        pixmap.fill(Color::WHITE);
        let transform = Transform::from_scale(px_per_mm as f32, px_per_mm as f32);
        for item in &self.items {
            draw(item, transform, &mut pixmap)?;
        }
        encode(&pixmap)
    }
}

fn draw(item: &Item, transform: Transform, pixmap: &mut Pixmap) -> Result<(), CanvasError> {
    let fill = |pixmap: &mut Pixmap, path: &SkiaPath, colour, rule| {
        pixmap.fill_path(path, &paint(colour), rule, transform, None);
    };
    match item {
        Item::Path { path, fill: colour, stroke, .. } => {
            let Some(path) = outline(path) else { return Ok(()) };
            if let Some(colour) = colour {
                fill(pixmap, &path, *colour, FillRule::EvenOdd);
            }
            if let Some(stroke) = stroke {
                pixmap.stroke_path(&path, &paint(stroke.colour), &line(stroke), transform, None);
            }
        }
        Item::Text(text) => {
            if let Some(path) = outline(&text.outline()) {
                fill(pixmap, &path, text.style.colour, FillRule::Winding);
            }
        }
        Item::Picture { image, rect: [x, y, w, h] } => {
            let mut picture = Pixmap::new(image.width(), image.height()).ok_or(CanvasError::Geometry)?;
            for (to, from) in picture.data_mut().chunks_exact_mut(4).zip(image.pixels()) {
                to.copy_from_slice(&[from[0], from[1], from[2], 255]);
            }
            let [sx, sy] = [w / f64::from(image.width()), h / f64::from(image.height())].map(|v| v as f32);
            let transform = transform.pre_translate(*x as f32, *y as f32).pre_scale(sx, sy);
            let exact = (transform.sx - 1.0).abs() < 1e-3 && (transform.sy - 1.0).abs() < 1e-3;
            let quality = if exact { FilterQuality::Nearest } else { FilterQuality::Bilinear };
            let paint = PixmapPaint { quality, ..PixmapPaint::default() };
            pixmap.draw_pixmap(0, 0, picture.as_ref(), &paint, transform, None);
        }
    }
    Ok(())
}

fn outline(path: &Path) -> Option<SkiaPath> {
    let mut out = PathBuilder::new();
    for step in &path.steps {
        match step {
            Step::Move([x, y]) => out.move_to(*x as f32, *y as f32),
            Step::Line([x, y]) => out.line_to(*x as f32, *y as f32),
            Step::Curve(a, b, p) => {
                let [[ax, ay], [bx, by], [x, y]] = [a, b, p].map(|p| p.map(|v| v as f32));
                out.cubic_to(ax, ay, bx, by, x, y);
            }
            Step::Close => out.close(),
        }
    }
    out.finish()
}

fn line(stroke: &Stroke) -> SkiaStroke {
    let dash = stroke.dash_mm.iter().map(|d| *d as f32).collect();
    SkiaStroke { width: stroke.width_mm as f32, dash: StrokeDash::new(dash, 0.0), ..SkiaStroke::default() }
}

fn paint(Colour { rgb: [red, green, blue], opacity }: Colour) -> Paint<'static> {
    let mut paint = Paint { anti_alias: true, ..Paint::default() };
    paint.set_color_rgba8(red, green, blue, opacity);
    paint
}

/// Every pixel is opaque, so the PNG has three bytes a pixel. It is made for speed, not for the last kilobyte.
fn encode(pixmap: &Pixmap) -> Result<Vec<u8>, CanvasError> {
    let rgb = pixmap.data().chunks_exact(4).flat_map(|p| [p[0], p[1], p[2]]).collect();
    let image = RgbImage::from_raw(pixmap.width(), pixmap.height(), rgb).ok_or(CanvasError::Geometry)?;
    let mut bytes = Vec::new();
    PngEncoder::new_with_quality(&mut bytes, CompressionType::Fast, FilterType::Adaptive).write_image(
        &image,
        image.width(),
        image.height(),
        ExtendedColorType::Rgb8,
    )?;
    Ok(bytes)
}
