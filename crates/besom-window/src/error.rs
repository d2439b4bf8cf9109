//! Why there is no window.

/// The window could not be opened or ended early. Displays as one sentence.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum WindowError {
    /// There is no screen to open a window on.
    #[error("no window can be opened because there is no display: neither DISPLAY nor WAYLAND_DISPLAY is set")]
    NoDisplay,
    /// The system refuses a window.
    #[error("no window can be opened: {0}")]
    Refused(String),
    /// The system gives no threads for the work behind the window.
    #[error("the work behind the window cannot be started: {0}")]
    NoThreads(String),
}
