//! Work spread over a few threads, results in the order of the items.

use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::sync::{Condvar, Mutex, PoisonError};
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

/// Does `work` for the numbers from 0 to `count` on `jobs` threads, each with its own state from `start`, and hands the states
/// to `take` in the order of the numbers, one at a time.
///
/// # Errors
/// The error of the smallest number that had one; numbers not begun by then are left out.
pub fn in_order<S, E: Send>(
    jobs: usize,
    count: usize,
    start: impl Fn() -> S + Sync,
    work: impl Fn(&mut S, usize) -> Result<(), E> + Sync,
    take: impl FnMut(&mut S, usize) -> Result<(), E> + Send,
) -> Result<(), E> {
    let next = AtomicUsize::new(0);
    let turn = Mutex::new(Turn { number: 0, take, error: None, over: false });
    let passed_on = Condvar::new();
    let worker = || {
        // A thread that waits for the turn of one that has panicked would wait for ever.
        let _ended = OnPanic(|| {
            turn.lock().unwrap_or_else(PoisonError::into_inner).over = true;
            passed_on.notify_all();
        });
        let mut state = start();
        loop {
            let number = next.fetch_add(1, Ordering::Relaxed);
            if number >= count {
                break;
            }
            let outcome = work(&mut state, number);
            let mut held = turn.lock().unwrap_or_else(PoisonError::into_inner);
            while held.number != number && !held.over {
                held = passed_on.wait(held).unwrap_or_else(PoisonError::into_inner);
            }
            if held.over {
                break;
            }
            held.error = outcome.and_then(|()| (held.take)(&mut state, number)).err();
            held.number += 1;
            held.over = held.error.is_some();
            let over = held.over;
            drop(held);
            passed_on.notify_all();
            if over {
                break;
            }
        }
    };
    match jobs.min(count) {
        0 | 1 => worker(),
        threads => thread::scope(|scope| (0..threads).for_each(|_| _ = scope.spawn(worker))),
    }
    turn.into_inner().unwrap_or_else(PoisonError::into_inner).error.map_or(Ok(()), Err)
}

/// Whose turn it is to be taken.
struct Turn<T, E> {
    number: usize,
    take: T,
    error: Option<E>,
    /// Nothing more is taken.
    over: bool,
}

/// Does something when its thread panics.
struct OnPanic<F: Fn()>(F);

impl<F: Fn()> Drop for OnPanic<F> {
    fn drop(&mut self) {
        if thread::panicking() {
            (self.0)();
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn states_are_taken_in_order() {
        for jobs in [0, 1, 2, 7] {
            let mut taken = Vec::new();
            let work = |state: &mut usize, number| {
                // The work for small numbers takes longest.
                (0..1000 - number).for_each(|_| thread::yield_now());
                *state = 3 * number;
                Ok::<(), ()>(())
            };
            let take = |state: &mut usize, number| {
                taken.push((number, *state));
                Ok(())
            };
            assert_eq!(in_order(jobs, 100, || 0, work, take), Ok(()));
            assert_eq!(taken, (0..100).map(|number| (number, 3 * number)).collect::<Vec<_>>(), "{jobs} jobs");
        }
    }

    #[test]
    fn nothing_is_taken_after_an_error() {
        for jobs in [1, 2, 7] {
            let mut taken = 0;
            let work = |_: &mut (), number| if number % 10 == 9 { Err(number) } else { Ok(()) };
            let take = |_: &mut (), _| {
                taken += 1;
                Ok(())
            };
            assert_eq!(in_order(jobs, 100, || (), work, take), Err(9));
            assert_eq!(taken, 9);
        }
    }

    #[test]
    #[should_panic(expected = "a scoped thread panicked")]
    fn after_a_panic_no_thread_waits() {
        let work = |_: &mut (), number| if number == 0 { panic!("of a test") } else { Ok::<(), ()>(()) };
        let _ = in_order(3, 10, || (), work, |_, _| Ok(()));
    }

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
