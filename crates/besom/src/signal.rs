//! Ctrl-C and the terminate signal: they ask the work to stop, and the work leaves nothing half-written.

use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, OnceLock};

static STOP: OnceLock<Arc<AtomicBool>> = OnceLock::new();

/// The flag that turns true when the person asks to stop.
///
/// The first call sets up the handlers; where that is not possible the signals keep their usual effect, which is safe
/// too, because every file is written under a temporary name and renamed whole.
pub(crate) fn stop_flag() -> Arc<AtomicBool> {
    Arc::clone(STOP.get_or_init(|| {
        let flag = Arc::new(AtomicBool::new(false));
        let raised = Arc::clone(&flag);
        let _ = ctrlc::set_handler(move || raised.store(true, Ordering::Relaxed));
        flag
    }))
}
