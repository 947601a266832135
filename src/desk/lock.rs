//! Locks of what the desk's threads share.

use std::sync::{Mutex, MutexGuard, PoisonError};

/// A lock is only poisoned where a photo's walk has panicked, which leaves what it guards as it was.
pub fn locked<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}
