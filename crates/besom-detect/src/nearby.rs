//! The order in which things spread over a picture are looked at.

use rayon::prelude::*;

/// Looks at every item in the order of `place`, so that what lies together in the picture is read together while it is still in
/// the fast cache: the planes of a comparison are many times as large. The answers come in the items' own order.
pub(crate) fn look_by_place<T, K, A>(
    items: &[T],
    place: impl Fn(&T) -> K,
    look: impl Fn(&T) -> A + Send + Sync,
) -> Vec<A>
where
    T: Sync,
    K: Ord,
    A: Send,
{
    let mut order: Vec<(usize, &T)> = items.iter().enumerate().collect();
    order.sort_by_key(|(_, item)| place(item));
    let mut answers: Vec<(usize, A)> = order.into_par_iter().map(|(k, item)| (k, look(item))).collect();
    answers.sort_unstable_by_key(|(k, _)| *k);
    answers.into_iter().map(|(_, answer)| answer).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn answers_come_in_the_order_of_the_items() {
        let items: Vec<i32> = (0..500).map(|k| k * 7919 % 501).collect();
        let plain: Vec<i32> = items.iter().map(|v| v * 3).collect();
        assert_eq!(look_by_place(&items, |v| v / 10, |v| v * 3), plain);
        assert!(look_by_place(&[], |v: &i32| *v, |v| *v).is_empty());
    }
}
