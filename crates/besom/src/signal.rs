//! Ctrl-C and the terminate signal: they ask the work to stop, and the work leaves nothing half-written.

use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, OnceLock};

static STOP: OnceLock<Arc<AtomicBool>> = OnceLock::new();

/// True once nothing listens to the flag any more.
static LET_GO: AtomicBool = AtomicBool::new(false);

/// Exit code of a program that Ctrl-C ended (128 and the signal's number, common practice of shells).
const INTERRUPTED: i32 = 130;

/// The flag that turns true when the person asks to stop.
///
/// The first call sets up the handlers; where that is not possible the signals keep their usual effect, which is safe
/// too, because every file is written under a temporary name and renamed whole.
pub(crate) fn stop_flag() -> Arc<AtomicBool> {
    Arc::clone(STOP.get_or_init(|| {
        let flag = Arc::new(AtomicBool::new(false));
        let raised = Arc::clone(&flag);
        let _ = ctrlc::set_handler(move || {
            if LET_GO.load(Ordering::Relaxed) {
                std::process::exit(INTERRUPTED);
            }
            raised.store(true, Ordering::Relaxed);
        });
        flag
    }))
}

/// From now on the signals end the program at once: the window has its own way of stopping work, and every record of the
/// journal is on disk before it is shown.
pub(crate) fn let_go() {
    LET_GO.store(true, Ordering::Relaxed);
}
