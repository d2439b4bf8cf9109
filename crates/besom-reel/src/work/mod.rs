//! Long jobs over a reel folder: start, detect, repair, verify, masks. Used by the commands and the window alike.
