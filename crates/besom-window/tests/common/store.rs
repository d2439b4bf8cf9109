//! What a window leaves behind when it is closed, kept in memory.
#![allow(missing_docs)]

use std::collections::BTreeMap;

/// Stored text by key.
#[derive(Clone, Default)]
pub struct Store(pub BTreeMap<String, String>);

impl eframe::Storage for Store {
    fn get_string(&self, key: &str) -> Option<String> {
        self.0.get(key).cloned()
    }
    fn set_string(&mut self, key: &str, value: String) {
        self.0.insert(key.to_owned(), value);
    }
    fn remove_string(&mut self, key: &str) {
        self.0.remove(key);
    }
    fn flush(&mut self) {}
}
