//! Work spread over a few threads, results in the order of the items.

use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::sync::{Mutex, PoisonError};
use std::thread;

/// Does `work` for every item on `jobs` threads, each with its own state from `start`.
///
/// # Errors
/// The error of the earliest item that had one; items not begun by then are left out.
pub fn map<T: Sync, S, R: Send, E: Send>(
    jobs: usize,
    items: &[T],
    start: impl Fn() -> S + Sync,
    work: impl Fn(&mut S, &T) -> Result<R, E> + Sync,
) -> Result<Vec<R>, E> {
    let next = AtomicUsize::new(0);
    let failed = AtomicBool::new(false);
    let done = Mutex::new(Vec::with_capacity(items.len()));
    let worker = || {
        let mut state = start();
        while !failed.load(Ordering::Relaxed) {
            let index = next.fetch_add(1, Ordering::Relaxed);
            let Some(item) = items.get(index) else {
                break;
            };
            let result = work(&mut state, item);
            failed.fetch_or(result.is_err(), Ordering::Relaxed);
            done.lock().unwrap_or_else(PoisonError::into_inner).push((index, result));
        }
    };
    match jobs.min(items.len()) {
        0 | 1 => worker(),
        threads => thread::scope(|scope| (0..threads).for_each(|_| _ = scope.spawn(worker))),
    }
    let mut done = done.into_inner().unwrap_or_else(PoisonError::into_inner);
    done.sort_by_key(|(index, _)| *index);
    done.into_iter().map(|(_, result)| result).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn results_come_in_the_order_of_the_items() {
        let items: Vec<u32> = (0..1000).collect();
        for jobs in [0, 1, 3, 5000] {
            let doubled = map(jobs, &items, || (), |(), item| Ok::<_, ()>(item * 2));
            assert_eq!(doubled, Ok(items.iter().map(|item| item * 2).collect::<Vec<_>>()), "{jobs} jobs");
        }
        assert_eq!(map(2, &[] as &[u32], || (), |(), _| Ok::<u32, ()>(0)), Ok(vec![]));
    }

    #[test]
    fn an_error_ends_the_work() {
        let items: Vec<u32> = (0..100_000).collect();
        let begun = AtomicUsize::new(0);
        let outcome = map(
            2,
            &items,
            || (),
            |(), item| {
                begun.fetch_add(1, Ordering::Relaxed);
                if *item == 3 { Err(*item) } else { Ok(()) }
            },
        );
        assert_eq!(outcome, Err(3));
        assert!(begun.load(Ordering::Relaxed) < items.len());
    }
}
