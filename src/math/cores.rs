//! Work for all cores of the machine.
//!
//! No equation. A core that has nothing to do is counted as idle; whoever has two things to do takes it for one of them, and gives
//! it back. Where all cores are busy, as with a folder of captures, things are done one after the other, so that no more of them are in work at
//! once, and in memory, than there are cores. A pool that lets a waiting thread begin other work does not keep that promise.

use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::{LazyLock, Mutex, PoisonError};
use std::thread::{available_parallelism, scope};

/// Cores beside the one that the program itself runs on.
static IDLE: LazyLock<AtomicUsize> =
    LazyLock::new(|| AtomicUsize::new(available_parallelism().map_or(1, |cores| cores.get()) - 1));

/// A core that was idle, until this is dropped.
struct Core;

impl Core {
    fn take() -> Option<Self> {
        IDLE.fetch_update(Ordering::AcqRel, Ordering::Acquire, |idle| idle.checked_sub(1)).ok().map(|_| Self)
    }
}

impl Drop for Core {
    fn drop(&mut self) {
        IDLE.fetch_add(1, Ordering::AcqRel);
    }
}

/// Both results, at the same time where a core is idle.
///
/// # Panics
/// When one of them does.
pub fn both<A, B: Send>(one: impl FnOnce() -> A, other: impl FnOnce() -> B + Send) -> (A, B) {
    let Some(_core) = Core::take() else { return (one(), other()) };
    scope(|threads| {
        let other = threads.spawn(other);
        let one = one();
        (one, other.join().unwrap_or_else(|panic| std::panic::resume_unwind(panic)))
    })
}

/// Does `work` with each of `items`, on all idle cores and this one; results are handed to `done` in the order in which they come,
/// with the item's place.
///
/// # Panics
/// When `work` does.
pub fn each<I: Sync, R: Send>(items: &[I], work: impl Fn(&I) -> R + Sync, done: impl FnMut(usize, R) + Send) {
    let next = AtomicUsize::new(0);
    let done = Mutex::new(done);
    let one_after_the_other = || {
        loop {
            let place = next.fetch_add(1, Ordering::AcqRel);
            let Some(item) = items.get(place) else { return };
            let result = work(item);
            (done.lock().unwrap_or_else(PoisonError::into_inner))(place, result);
        }
    };
    let cores: Vec<Core> = std::iter::from_fn(Core::take).take(items.len().saturating_sub(1)).collect();
    scope(|threads| {
        for _ in &cores {
            threads.spawn(one_after_the_other);
        }
        one_after_the_other();
    });
}

/// What `work` makes of each of `items`, in their order, on all idle cores and this one.
///
/// # Panics
/// When `work` does.
pub fn of_each<I: Sync, R: Send>(items: &[I], work: impl Fn(&I) -> R + Sync) -> Vec<R> {
    let mut results: Vec<Option<R>> = items.iter().map(|_| None).collect();
    each(items, work, |place, result| results[place] = Some(result));
    results.into_iter().flatten().collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn both_and_each_give_what_one_after_the_other_gives() {
        assert_eq!(both(|| 1, || both(|| 2, || 3)), (1, (2, 3)));
        let items: Vec<u64> = (0..100).collect();
        let squares = of_each(&items, |item| item * item);
        assert!(squares.iter().zip(&items).all(|(square, item)| *square == item * item));
        assert_eq!(squares.len(), 100);
    }

    #[test]
    fn no_more_are_in_work_than_there_are_cores() {
        let (now, most) = (AtomicUsize::new(0), AtomicUsize::new(0));
        let work = |_: &i32| {
            most.fetch_max(now.fetch_add(1, Ordering::SeqCst) + 1, Ordering::SeqCst);
            // Both sides of an inner pair count as their item.
            both(std::thread::yield_now, std::thread::yield_now);
            now.fetch_sub(1, Ordering::SeqCst);
        };
        let mut count = 0;
        each(&[0; 50], work, |_, ()| count += 1);
        assert_eq!(count, 50);
        assert!(most.into_inner() <= available_parallelism().unwrap().get());
    }
}
