//! From a decoded frame to what the screen shows: viewing transform, reduction, textures, and where it all lies.

pub(crate) mod convert;
pub(crate) mod layer;
pub(crate) mod view;
pub(crate) mod viewing;

pub(crate) use layer::Layer;
pub(crate) use view::{Placed, View};
pub(crate) use viewing::{Channel, Levels, Lut, Viewing};
