//! Locks shared by the desk's threads.

use std::sync::{Mutex, MutexGuard, PoisonError};

/// Locks a mutex. It is poisoned only by a panic while a photo is measured, which leaves the value as it was.
pub fn locked<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}
