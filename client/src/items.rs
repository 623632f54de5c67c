//! Lists as streams.

use crate::Error;
use eavesward_contract::Page;
use futures_util::stream::{self, BoxStream, Stream, StreamExt, TryStreamExt};
use std::future::Future;
use std::pin::Pin;
use std::task::{Context, Poll};

/// The items of a list. Pages are fetched as needed.
///
/// The next page is fetched when you have read the one before. Drop the stream to fetch no more. It ends after an
/// error.
pub struct Items<T>(BoxStream<'static, Result<T, Error>>);

impl<T: Send + 'static> Items<T> {
    /// Follows cursors from `first`, or from the beginning if it is `None`. `fetch` fetches one page.
    pub(crate) fn follow<F, Fut>(first: Option<String>, fetch: F) -> Self
    where
        F: Fn(Option<String>) -> Fut + Send + 'static,
        Fut: Future<Output = Result<Page<T>, Error>> + Send + 'static,
    {
        // The state is `None` once the last page was read.
        let pages = stream::try_unfold((Some(first), fetch), |(state, fetch)| async move {
            let Some(cursor) = state else { return Ok(None) };
            let page = fetch(cursor.clone()).await?;
            let next = match page.next_cursor {
                None => None,
                // Without this check the client would ask for the same page for ever.
                Some(next) if cursor.as_ref() == Some(&next) => {
                    return Err(Error::contract("a page named itself as the next page"));
                }
                Some(next) => Some(Some(next)),
            };
            Ok(Some((stream::iter(page.items.into_iter().map(Ok)), (next, fetch))))
        });
        Self(pages.try_flatten().boxed())
    }

    /// The next item, or `None` at the end of the list.
    pub async fn next(&mut self) -> Option<Result<T, Error>> {
        self.0.next().await
    }

    /// All remaining items.
    pub async fn all(self) -> Result<Vec<T>, Error> {
        self.0.try_collect().await
    }
}

impl<T> Stream for Items<T> {
    type Item = Result<T, Error>;

    fn poll_next(mut self: Pin<&mut Self>, cx: &mut Context<'_>) -> Poll<Option<Self::Item>> {
        self.0.as_mut().poll_next(cx)
    }
}

impl<T> std::fmt::Debug for Items<T> {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("Items(..)")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn page(items: &[u32], next: Option<&str>) -> Page<u32> {
        Page { items: items.to_vec(), next_cursor: next.map(str::to_owned) }
    }

    #[tokio::test]
    async fn cursors_are_followed_over_empty_pages_to_the_end() {
        let items = Items::follow(None, |cursor| async move {
            Ok(match cursor.as_deref() {
                None => page(&[1, 2], Some("a")),
                Some("a") => page(&[], Some("b")),
                Some("b") => page(&[3], None),
                other => panic!("asked for {other:?}"),
            })
        });
        assert_eq!(items.all().await.expect("three pages"), [1, 2, 3]);
    }

    #[tokio::test]
    async fn a_page_that_names_itself_ends_in_an_error() {
        let mut items = Items::follow(Some("a".to_owned()), |_| async { Ok(page(&[1], Some("a"))) });
        assert!(items.next().await.expect("one answer").is_err());
        assert!(items.next().await.is_none());
    }
}
