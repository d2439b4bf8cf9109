//! Opens the window on a reel folder or on scans: `cargo run -p besom-window --example window -- PATH [ARTIST]`.

fn main() -> Result<(), besom_window::WindowError> {
    let mut arguments = std::env::args_os().skip(1);
    let open = arguments.next().map(std::path::PathBuf::from);
    let artist = arguments.next().map_or_else(|| "Ines".to_owned(), |a| a.to_string_lossy().into_owned());
    besom_window::run(open, artist)
}
