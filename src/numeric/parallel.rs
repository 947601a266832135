//! Parallel iteration by rayon. Without the feature `parallel` the same calls run in order on the calling thread.

#[cfg(feature = "parallel")]
pub use rayon::{current_num_threads, current_thread_index, join, prelude::*};

#[cfg(not(feature = "parallel"))]
pub use sequential::*;

#[cfg(not(feature = "parallel"))]
#[expect(missing_docs, reason = "the names are rayon's")]
mod sequential {
    pub use std::iter::Iterator as IndexedParallelIterator;
    use std::slice::{ChunksExactMut, ChunksMut, Iter};

    pub fn current_num_threads() -> usize {
        1
    }

    pub fn current_thread_index() -> Option<usize> {
        None
    }

    pub fn join<A, B>(first: impl FnOnce() -> A, second: impl FnOnce() -> B) -> (A, B) {
        (first(), second())
    }

    pub trait IntoParallelIterator: IntoIterator + Sized {
        fn into_par_iter(self) -> Self::IntoIter {
            self.into_iter()
        }
    }

    impl<I: IntoIterator> IntoParallelIterator for I {}

    pub trait ParallelIterator: Iterator + Sized {
        fn flat_map_iter<U: IntoIterator>(
            self,
            map: impl FnMut(Self::Item) -> U,
        ) -> impl Iterator<Item = U::Item> {
            self.flat_map(map)
        }

        fn with_min_len(self, _: usize) -> Self {
            self
        }
    }

    impl<I: Iterator> ParallelIterator for I {}

    pub trait ParallelSlice<T> {
        fn par_iter(&self) -> Iter<'_, T>;
        fn par_chunks_mut(&mut self, size: usize) -> ChunksMut<'_, T>;
        fn par_chunks_exact_mut(&mut self, size: usize) -> ChunksExactMut<'_, T>;
    }

    impl<T> ParallelSlice<T> for [T] {
        fn par_iter(&self) -> Iter<'_, T> {
            self.iter()
        }

        fn par_chunks_mut(&mut self, size: usize) -> ChunksMut<'_, T> {
            self.chunks_mut(size)
        }

        fn par_chunks_exact_mut(&mut self, size: usize) -> ChunksExactMut<'_, T> {
            self.chunks_exact_mut(size)
        }
    }
}
