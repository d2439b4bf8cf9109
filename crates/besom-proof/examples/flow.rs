//! `flow A.png B.png OUT.flo`: motion from A to B as a Middlebury file, for comparisons outside.
#![allow(clippy::unwrap_used, missing_docs)]
fn main() {
    let a: Vec<String> = std::env::args().collect();
    let read = |p: &str| {
        let img = image::open(p).unwrap().to_rgb8();
        let pl: Vec<besom_scan::Plane> = (0..3)
            .map(|c| {
                besom_scan::Plane::from_fn(img.width() as usize, img.height() as usize, |x, y| {
                    f32::from(img.get_pixel(x as u32, y as u32).0[c]) * 1023.0 / 255.0
                })
            })
            .collect();
        besom_detect::Prepared::new(pl).unwrap()
    };
    let (p, q) = (read(&a[1]), read(&a[2]));
    let cpu = || {
        let s = std::fs::read_to_string("/proc/self/stat").unwrap();
        s.split_whitespace().nth(13).unwrap().parse::<f32>().unwrap() * 10.0
    };
    let t = cpu();
    let mut f = besom_motion::estimate_field(&p.pyramid, &q.pyramid);
    for _ in 0..7 {
        f = besom_motion::estimate_field(&p.pyramid, &q.pyramid);
    }
    eprintln!("cpu {:.0} ms", (cpu() - t) / 8.0);
    let (w, h) = (p.width(), p.height());
    let mut out = Vec::new();
    out.extend(202_021.25f32.to_le_bytes());
    out.extend((w as i32).to_le_bytes());
    out.extend((h as i32).to_le_bytes());
    for y in 0..h {
        for x in 0..w {
            let v = f.at((x / 4 * 4) as f32 + 1.5, (y / 4 * 4) as f32 + 1.5);
            out.extend(v.dx.to_le_bytes());
            out.extend(v.dy.to_le_bytes());
        }
    }
    std::fs::write(&a[3], out).unwrap();
}
