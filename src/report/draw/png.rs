//! The drawing as PNG over the reduced photo, for a look and for a message.

use super::picture::{Picture, RenderError};
use super::style::{self, Colour, Style};
use super::{Drawing, Rect, Shape, Text, font};
use crate::numeric::frame::PhotoPoint;
use tiny_skia::{
    Color, FillRule, LineCap, LineJoin, Paint, Path, PathBuilder, Pixmap, Stroke, StrokeDash, Transform,
};

/// The longer side of the photo in the PNG, in pixels; a larger picture is reduced to it.
pub const LONG_SIDE: u32 = 1280;

/// Points nearer than this to the one before are passed over, in pixels of the PNG; no eye can tell.
const FINEST: f32 = 0.5;

/// Draws over the picture and encodes it. The picture is the whole upright photo at any size.
pub fn render(drawing: &Drawing, picture: Picture) -> Result<Vec<u8>, RenderError> {
    if let Some(small) = picture.reduced(LONG_SIDE) {
        let picture = Picture::new(small.as_raw(), small.width(), small.height())?;
        return render(drawing, picture);
    }
    let mut canvas = Canvas::new(drawing, picture)?;
    for shape in &drawing.shapes {
        canvas.shape(shape)?;
    }
    encode(&canvas.pixmap)
}

/// The pixels being drawn, and how photo pixels become theirs.
struct Canvas {
    pixmap: Pixmap,
    /// Pixels of the PNG a photo pixel.
    scale: f64,
    /// Pixels of the PNG a unit.
    unit: f64,
}

impl Canvas {
    fn new(drawing: &Drawing, picture: Picture) -> Result<Self, RenderError> {
        let (width, height) = (picture.width(), picture.height());
        let scale = f64::from(width) / f64::from(drawing.width_px.max(1));
        let band = (drawing.band_px * scale).round().max(0.0) as u32;
        let mut pixmap = Pixmap::new(width, height + band).ok_or(RenderError::Size(width, height + band))?;
        let (photo, below) = pixmap.data_mut().split_at_mut(4 * width as usize * height as usize);
        for (to, from) in photo.chunks_exact_mut(4).zip(picture.rgb().chunks_exact(3)) {
            to[..3].copy_from_slice(from);
            to[3] = 255;
        }
        below.chunks_exact_mut(4).for_each(|to| to.copy_from_slice(&style::BAND));
        Ok(Self { pixmap, scale, unit: drawing.unit_px() * scale })
    }

    /// A photo point in the PNG, where the top-left pixel's corner is the origin.
    fn place(&self, p: PhotoPoint) -> Result<(f32, f32), RenderError> {
        if !p.is_finite() {
            return Err(RenderError::NotFinite);
        }
        Ok((((p.x_px + 0.5) * self.scale) as f32, ((p.y_px + 0.5) * self.scale) as f32))
    }

    fn shape(&mut self, shape: &Shape) -> Result<(), RenderError> {
        match shape {
            Shape::Line { role, points, closed } => self.line(points, *closed, &style::style(*role)),
            Shape::Swatch { role, ends } => self.line(ends, false, &style::style(*role)),
            Shape::Marker { role, at } => self.marker(*at, &style::style(*role)),
            Shape::Label { text, plate, leader } => {
                if let Some(leader) = leader {
                    self.line(leader, false, &style::LEADER)?;
                }
                self.plate(plate)?;
                self.text(text)
            }
            Shape::Caption(text) => self.text(text),
        }
    }

    fn line(&mut self, points: &[PhotoPoint], closed: bool, style: &Style) -> Result<(), RenderError> {
        let Some(path) = self.path(points, closed)? else { return Ok(()) };
        self.stroke(&path, style.casing, style.width + 2.0 * style.casing_out, &[]);
        self.stroke(&path, style.core, style.width, style.dash);
        Ok(())
    }

    fn path(&self, points: &[PhotoPoint], closed: bool) -> Result<Option<Path>, RenderError> {
        let mut path = PathBuilder::new();
        let mut pen: Option<(f32, f32)> = None;
        for (i, p) in points.iter().enumerate() {
            let (x, y) = self.place(*p)?;
            match pen {
                None => path.move_to(x, y),
                Some((px, py)) if (x - px).hypot(y - py) < FINEST && i + 1 < points.len() => continue,
                Some(_) => path.line_to(x, y),
            }
            pen = Some((x, y));
        }
        if closed {
            path.close();
        }
        Ok(path.finish())
    }

    fn stroke(&mut self, path: &Path, colour: Colour, width: f64, dash: &[f64]) {
        let dash = dash.iter().map(|d| (d * self.unit) as f32).collect::<Vec<_>>();
        let stroke = Stroke {
            width: (width * self.unit) as f32,
            line_cap: LineCap::Butt,
            line_join: LineJoin::Round,
            dash: StrokeDash::new(dash, 0.0),
            ..Stroke::default()
        };
        self.pixmap.stroke_path(path, &paint(colour), &stroke, Transform::identity(), None);
    }

    fn marker(&mut self, at: PhotoPoint, style: &Style) -> Result<(), RenderError> {
        let (x, y) = self.place(at)?;
        let radius = (style::MARKER_RADIUS * self.unit) as f32;
        if let Some(path) = PathBuilder::from_circle(x, y, radius) {
            self.stroke(&path, style.casing, 2.0 * style.casing_out + style.width, &[]);
            self.fill(&path, style.core);
        }
        Ok(())
    }

    fn plate(&mut self, plate: &Rect) -> Result<(), RenderError> {
        let corner = |x, y| self.place(PhotoPoint::new(x, y));
        let (left, top) = corner(plate.left, plate.top)?;
        let (right, bottom) = corner(plate.right(), plate.bottom())?;
        let Some(rect) = tiny_skia::Rect::from_ltrb(left, top, right, bottom) else { return Ok(()) };
        let path = PathBuilder::from_rect(rect);
        self.fill(&path, style::PLATE);
        self.stroke(&path, style::RIM, style::RIM_WIDTH, &[]);
        Ok(())
    }

    fn text(&mut self, text: &Text) -> Result<(), RenderError> {
        let (x, y) = self.place(text.at)?;
        let mut path = PathBuilder::new();
        font::outline(&text.text, text.size * self.unit, x, y, &mut path);
        if let Some(path) = path.finish() {
            self.fill(&path, style::LETTERS);
        }
        Ok(())
    }

    fn fill(&mut self, path: &Path, colour: Colour) {
        self.pixmap.fill_path(path, &paint(colour), FillRule::Winding, Transform::identity(), None);
    }
}

fn paint(colour: Colour) -> Paint<'static> {
    let [red, green, blue, opacity] = colour;
    let mut paint = Paint { anti_alias: true, ..Paint::default() };
    paint.set_color(Color::from_rgba8(red, green, blue, opacity));
    paint
}

/// Every pixel is opaque, so the PNG has three bytes a pixel; it is made for speed, not for the last kilobyte.
fn encode(pixmap: &Pixmap) -> Result<Vec<u8>, RenderError> {
    let failed = |e: png::EncodingError| RenderError::Encoding(e.to_string());
    let mut rgb = vec![0; 3 * pixmap.pixels().len()];
    for (to, from) in rgb.chunks_exact_mut(3).zip(pixmap.data().chunks_exact(4)) {
        to.copy_from_slice(&from[..3]);
    }
    let mut bytes = Vec::with_capacity(rgb.len() / 2);
    let mut encoder = png::Encoder::new(&mut bytes, pixmap.width(), pixmap.height());
    encoder.set_color(png::ColorType::Rgb);
    encoder.set_depth(png::BitDepth::Eight);
    encoder.set_compression(png::Compression::Fastest);
    let mut writer = encoder.write_header().map_err(failed)?;
    writer.write_image_data(&rgb).map_err(failed)?;
    writer.finish().map_err(failed)?;
    Ok(bytes)
}
