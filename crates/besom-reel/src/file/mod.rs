//! The files of a reel folder. Each has its own versioned types and hand-written conversions, so that the model can
//! change without changing a file that already exists.
//!
//! | file | module |
//! | --- | --- |
//! | `reel.ron` | [`reel`] |
//! | `shots.ron` | [`shots`] |
//! | `candidates/FIRST-LAST.cand` | [`candidates`] |
//! | `journal/ARTIST.ron` | `journal` |

pub mod candidates;
pub mod reel;
pub mod shots;
