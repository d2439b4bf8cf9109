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
    K: Ord + Sync,
    A: Send,
{
    let mut order: Vec<(K, u32)> = items.iter().map(place).zip(0..).collect();
    // Places are unique with the items' numbers beside them, so that equals stay in their order.
    order.sort_unstable();
    let looked = order.par_iter().map(|(_, k)| items.get(*k as usize).map(&look));
    // Answers are large: each is moved once to its own place instead of being sorted.
    let mut looked: Vec<Option<A>> = looked.collect();
    let mut at = vec![0; items.len()];
    for (place, (_, k)) in order.iter().enumerate() {
        at[*k as usize] = place;
    }
    at.into_iter().filter_map(|place: usize| looked[place].take()).collect()
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
