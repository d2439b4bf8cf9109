//! The frame cache: budget, order of forgetting, threads.
#![allow(clippy::unwrap_used, clippy::expect_used)]

mod made;

use std::sync::Arc;

use besom_scan::FrameCache;
use made::store;

#[test]
fn the_least_recently_used_frame_goes_first() {
    let folder = tempfile::tempdir().unwrap();
    let file = made::png_file(png::ColorType::Rgb, true, 19, 23);
    let paths: Vec<_> = (0..3).map(|n| store(folder.path(), &format!("s{n}.png"), &file)).collect();
    let size = besom_scan::Scan::read(&paths[0]).unwrap().memory();
    let cache = FrameCache::new(size * 2);
    let first = cache.get(&paths[0]).unwrap();
    cache.get(&paths[1]).unwrap();
    assert!(Arc::ptr_eq(&first, &cache.get(&paths[0]).unwrap()));
    cache.get(&paths[2]).unwrap();
    assert!(Arc::ptr_eq(&first, &cache.get(&paths[0]).unwrap()), "frame 1 was used longest ago, not frame 0");
    let stats = cache.stats();
    assert_eq!((stats.hits, stats.misses, stats.frames, stats.bytes), (2, 3, 2, size * 2));
    cache.clear();
    assert_eq!(cache.stats().bytes, 0);
}

#[test]
fn a_smaller_budget_counts_at_once() {
    let folder = tempfile::tempdir().unwrap();
    let file = made::png_file(png::ColorType::Rgb, true, 19, 23);
    let paths: Vec<_> = (0..4).map(|n| store(folder.path(), &format!("s{n}.png"), &file)).collect();
    let size = besom_scan::Scan::read(&paths[0]).unwrap().memory();
    let cache = FrameCache::new(size * 4);
    for path in &paths {
        cache.get(path).unwrap();
    }
    cache.set_budget(size * 2);
    assert_eq!((cache.stats().frames, cache.stats().bytes), (2, size * 2));
    cache.get(&paths[3]).unwrap();
    assert_eq!(cache.stats().hits, 1, "the newest are kept");
    cache.set_budget(size * 3);
    cache.get(&paths[0]).unwrap();
    assert_eq!(cache.stats().frames, 3);
}

#[test]
fn a_frame_beyond_the_budget_is_given_but_not_kept() {
    let folder = tempfile::tempdir().unwrap();
    let path = store(folder.path(), "s.png", &made::png_file(png::ColorType::Rgb, true, 19, 23));
    let cache = FrameCache::new(10);
    assert_eq!(cache.get(&path).unwrap().frame().width, 19);
    assert_eq!(cache.stats().frames, 0);
    assert!(cache.get(&folder.path().join("none.png")).is_err());
}

#[test]
fn threads_share_it_and_get_the_same_content() {
    let folder = tempfile::tempdir().unwrap();
    let paths: Vec<_> = (0..6)
        .map(|n| store(folder.path(), &format!("s{n}.png"), &made::png_file(png::ColorType::Rgb, true, 10 + n, 9)))
        .collect();
    let cache = FrameCache::new(3 * besom_scan::Scan::read(&paths[5]).unwrap().memory());
    std::thread::scope(|scope| {
        for start in 0..4 {
            let (cache, paths) = (&cache, &paths);
            scope.spawn(move || {
                for turn in 0..60 {
                    let n = (start + turn * 5) % 6;
                    assert_eq!(cache.get(&paths[n]).unwrap().frame().width, 10 + n);
                }
            });
        }
    });
    let stats = cache.stats();
    assert_eq!(stats.hits + stats.misses, 240);
    assert!(stats.bytes <= 3 * besom_scan::Scan::read(&paths[5]).unwrap().memory());
}
