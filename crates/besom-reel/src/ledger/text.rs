//! The ledger as a table for a terminal, as CSV and as JSON.

use std::fmt::Write as _;

use serde_json::{Map, Value as Json, json};

use super::table::{COLUMNS, Column, LedgerTable, Row, Value};

impl LedgerTable {
    /// As a table for a terminal: one line a row, the reel's line last, then the forecast.
    pub fn text(&self) -> String {
        let columns: Vec<&Column> = COLUMNS.iter().filter(|c| c.for_people).collect();
        let mut lines = vec![headings(self, &columns)];
        let total = Row { label: "total".to_owned(), ..self.total.clone() };
        for row in self.rows.iter().chain([&total]) {
            let cells = columns.iter().map(|c| self.shown(row, c));
            lines.push(std::iter::once(row.label.clone()).chain(cells).collect());
        }
        let widths: Vec<usize> = (0..=columns.len())
            .map(|at| lines.iter().filter_map(|l| l.get(at)).map(|cell| cell.chars().count()).max().unwrap_or(0))
            .collect();
        let mut text = String::new();
        for line in &lines {
            let mut shown = String::new();
            for (at, (cell, width)) in line.iter().zip(&widths).enumerate() {
                // Writing into a String cannot fail.
                let _ = if at == 0 { write!(shown, "{cell:<width$}") } else { write!(shown, "  {cell:>width$}") };
            }
            text.push_str(shown.trim_end());
            text.push('\n');
        }
        text.push_str(&self.forecast());
        text.push('\n');
        text
    }

    /// As comma-separated values (RFC 4180): a header line, a line a row, the reel's line last with the label
    /// `total`. A label that a spreadsheet would take for a formula gets an apostrophe before it.
    pub fn csv(&self) -> String {
        let mut text = self.label_heading().to_owned();
        for column in &COLUMNS {
            text.push(',');
            text.push_str(column.key);
        }
        text.push_str("\r\n");
        let total = Row { label: "total".to_owned(), ..self.total.clone() };
        for row in self.rows.iter().chain([&total]) {
            text.push_str(&csv_text(&row.label));
            for column in &COLUMNS {
                text.push(',');
                match self.value(row, column) {
                    Value::Count(n) => text.push_str(&n.to_string()),
                    Value::Number(n, _) => text.push_str(&n.to_string()),
                    Value::Text(t) => text.push_str(&csv_text(&t)),
                    Value::Nothing => {}
                }
            }
            text.push_str("\r\n");
        }
        text
    }

    /// As JSON: `reel`, `by`, `fps`, `gauge`, `rows`, `total`, `minutes_left` (null where too little was decided to
    /// say) and `forecast` in words.
    pub fn json(&self) -> Json {
        json!({
            "reel": self.reel,
            "by": self.by.word(),
            "fps": self.rate.fps(),
            "gauge": self.gauge.word(),
            "rows": self.rows.iter().map(|r| self.json_row(r)).collect::<Vec<_>>(),
            "total": self.json_row(&self.total),
            "minutes_left": self.minutes_left,
            "forecast": self.forecast(),
        })
    }

    fn json_row(&self, row: &Row) -> Json {
        let mut cells = Map::new();
        cells.insert("label".to_owned(), json!(row.label));
        for column in &COLUMNS {
            let value = match self.value(row, column) {
                Value::Count(n) => json!(n),
                Value::Number(n, _) => json!(n),
                Value::Text(t) => json!(t),
                Value::Nothing => Json::Null,
            };
            cells.insert(column.key.to_owned(), value);
        }
        Json::Object(cells)
    }
}

fn headings(table: &LedgerTable, columns: &[&Column]) -> Vec<String> {
    std::iter::once(table.label_heading()).chain(columns.iter().map(|c| c.heading)).map(str::to_owned).collect()
}

fn csv_text(text: &str) -> String {
    let text = if text.starts_with(['=', '+', '-', '@', '\t', '\r']) { format!("'{text}") } else { text.to_owned() };
    if text.contains([',', '"', '\n', '\r']) { format!("\"{}\"", text.replace('"', "\"\"")) } else { text }
}
