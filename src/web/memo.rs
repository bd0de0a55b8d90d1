//! What a page states, kept in memory while what it was made from stays the same.

use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

/// The last thing that was read, and what it was read from.
#[derive(Debug)]
pub struct Memo<From, T>(Mutex<LastRead<From, T>>);

type LastRead<From, T> = Option<(From, Arc<T>)>;

impl<From: PartialEq, T> Memo<From, T> {
    /// What is kept, if it was read from the same; else what `read` gives. `from` is looked at before `read` begins, so that
    /// what changes meanwhile is read the next time.
    ///
    /// # Errors
    ///
    /// Those of `read`; nothing is kept then.
    pub async fn get_or_read<E>(&self, from: From, read: impl Future<Output = Result<T, E>>) -> Result<Arc<T>, E> {
        if let Some((_, kept)) = self.lock().as_ref().filter(|(kept, _)| *kept == from) {
            return Ok(kept.clone());
        }
        let new = Arc::new(read.await?);
        *self.lock() = Some((from, new.clone()));
        Ok(new)
    }

    fn lock(&self) -> MutexGuard<'_, LastRead<From, T>> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

impl<From, T> Default for Memo<From, T> {
    fn default() -> Self {
        Self(Mutex::default())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[tokio::test]
    async fn what_is_kept_is_read_again_only_where_it_comes_from_something_else() {
        let memo = Memo::default();
        let get = async |from: u8, value: Result<&'static str, u8>| memo.get_or_read(from, async { value }).await;
        assert_eq!(get(1, Err(7)).await, Err(7));
        assert_eq!(*get(1, Ok("first")).await.expect("read"), "first");
        assert_eq!(*get(1, Ok("second")).await.expect("kept"), "first");
        assert_eq!(*get(2, Ok("second")).await.expect("read"), "second");
        assert_eq!(get(3, Err(7)).await, Err(7));
        assert_eq!(*get(1, Ok("third")).await.expect("only the last is kept"), "third");
    }
}
