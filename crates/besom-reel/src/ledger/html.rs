//! The ledger as one self-contained HTML page: no script, nothing fetched.

use std::fmt::Write as _;

use super::table::{COLUMNS, Column, LedgerTable, Row};

const STYLE: &str = "body{font:15px/1.45 system-ui,sans-serif;margin:2rem;color:#1b1d1f;background:#fff}\
table{border-collapse:collapse;font-variant-numeric:tabular-nums}\
caption{text-align:left;padding-bottom:.6rem;color:#4a4f54}\
th,td{padding:.3rem .7rem;text-align:right;border-bottom:1px solid #d6d9dc;white-space:nowrap}\
th:first-child,td:first-child{text-align:left}\
tfoot th,tfoot td{border-top:2px solid #1b1d1f;font-weight:600}\
@media print{body{margin:0;font-size:9px}th,td{padding:.15rem .3rem}}";

impl LedgerTable {
    /// As one self-contained HTML page, fit to print. Every text from outside is escaped.
    pub fn html(&self) -> String {
        let columns: Vec<&Column> = COLUMNS.iter().filter(|c| c.for_people).collect();
        let reel = escape(&self.reel);
        let mut page = format!(
            "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n\
             <meta name=\"viewport\" content=\"width=device-width\">\n<title>Ledger: {reel}</title>\n\
             <style>{STYLE}</style>\n</head>\n<body>\n<h1>{reel}</h1>\n<p>{}</p>\n<table>\n\
             <caption>By {}, {} frames a second, {}</caption>\n<thead>\n<tr>",
            escape(&self.forecast()),
            self.by.word(),
            self.rate,
            self.gauge,
        );
        let headings = std::iter::once(self.label_heading()).chain(columns.iter().map(|c| c.heading));
        for heading in headings {
            // Writing into a String cannot fail.
            let _ = write!(page, "<th scope=\"col\">{}</th>", escape(heading));
        }
        page.push_str("</tr>\n</thead>\n<tbody>\n");
        for row in &self.rows {
            self.html_row(&mut page, row, &columns);
        }
        page.push_str("</tbody>\n<tfoot>\n");
        self.html_row(&mut page, &Row { label: "total".to_owned(), ..self.total.clone() }, &columns);
        page.push_str("</tfoot>\n</table>\n</body>\n</html>\n");
        page
    }

    fn html_row(&self, page: &mut String, row: &Row, columns: &[&Column]) {
        let _ = write!(page, "<tr><th scope=\"row\">{}</th>", escape(&row.label));
        for column in columns {
            let _ = write!(page, "<td>{}</td>", escape(&self.shown(row, column)));
        }
        page.push_str("</tr>\n");
    }
}

fn escape(text: &str) -> String {
    let mut escaped = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '&' => escaped.push_str("&amp;"),
            '<' => escaped.push_str("&lt;"),
            '>' => escaped.push_str("&gt;"),
            '"' => escaped.push_str("&quot;"),
            '\'' => escaped.push_str("&#39;"),
            // HTML has no other control characters.
            c if c.is_control() && !matches!(c, '\n' | '\t') => escaped.push('\u{fffd}'),
            c => escaped.push(c),
        }
    }
    escaped
}
