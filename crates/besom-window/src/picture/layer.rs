//! A picture on the graphics card, in as many textures as the card's largest size asks for.

use std::sync::Arc;

use egui::{Color32, ColorImage, Painter, TextureFilter, TextureHandle, TextureOptions, Vec2, pos2, vec2};

use super::view::Placed;

/// Magnified pixels stay square; reduced ones are already averaged (see [`super::convert`]) and only need smoothing.
const OPTIONS: TextureOptions = TextureOptions {
    magnification: TextureFilter::Nearest,
    minification: TextureFilter::Linear,
    ..TextureOptions::LINEAR
};

struct Tile {
    /// Corner and size in pixels of the (reduced) image.
    corner: Vec2,
    size: Vec2,
    texture: TextureHandle,
}

/// A picture ready to be painted.
#[derive(Default)]
pub(crate) struct Layer {
    tiles: Vec<Tile>,
    /// Picture pixels an image pixel, along each axis.
    step: usize,
    /// Size of the picture it stands for.
    picture: Vec2,
}

impl Layer {
    /// True until something was uploaded.
    pub(crate) fn is_empty(&self) -> bool {
        self.tiles.is_empty()
    }

    /// Size of the picture in its own pixels.
    pub(crate) fn size(&self) -> Vec2 {
        self.picture
    }

    /// Uploads `image`, which stands for a picture of `picture` pixels reduced by `step`.
    pub(crate) fn set(&mut self, ctx: &egui::Context, name: &str, image: Arc<ColorImage>, picture: Vec2, step: usize) {
        let [width, height] = image.size;
        let side = ctx.input(|i| i.max_texture_side).max(1);
        (self.step, self.picture) = (step, picture);
        if width <= side && height <= side {
            self.tiles.truncate(1);
            self.put(ctx, name, 0, Vec2::ZERO, image);
            return;
        }
        let mut count = 0;
        for y in (0..height).step_by(side) {
            for x in (0..width).step_by(side) {
                let size = [side.min(width - x), side.min(height - y)];
                let part = Arc::new(image.region_by_pixels([x, y], size));
                self.put(ctx, name, count, vec2(x as f32, y as f32), part);
                count += 1;
            }
        }
        self.tiles.truncate(count);
    }

    fn put(&mut self, ctx: &egui::Context, name: &str, index: usize, corner: Vec2, image: Arc<ColorImage>) {
        let size = vec2(image.size[0] as f32, image.size[1] as f32);
        if let Some(tile) = self.tiles.get_mut(index) {
            (tile.corner, tile.size) = (corner, size);
            tile.texture.set(image, OPTIONS);
        } else {
            let texture = ctx.load_texture(format!("{name} {index}"), image, OPTIONS);
            self.tiles.push(Tile { corner, size, texture });
        }
    }

    /// Paints the picture where `placed` says.
    pub(crate) fn paint(&self, painter: &Painter, placed: &Placed) {
        let uv = egui::Rect::from_min_max(pos2(0.0, 0.0), pos2(1.0, 1.0));
        let step = self.step.max(1) as f32;
        for tile in &self.tiles {
            let (low, high) = (tile.corner * step, (tile.corner + tile.size) * step);
            let rect = egui::Rect::from_min_max(placed.window(low.x, low.y), placed.window(high.x, high.y));
            painter.image(tile.texture.id(), rect, uv, Color32::WHITE);
        }
    }
}
