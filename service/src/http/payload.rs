//! The bytes of a body, taken as they are sent: nothing is unpacked, and no more is kept than the path takes.

use super::problem::ApiError;
use actix_web::dev::Payload;
use actix_web::error::PayloadError;
use actix_web::http::header::{self, HeaderMap};
use actix_web::web::{Bytes, BytesMut};
use eavesward_contract::ProblemCode;
use futures_util::StreamExt as _;
use std::io;

/// The largest body of a request, bytes, unless a path says otherwise.
pub const BODY_LIMIT: usize = 2 * 1024 * 1024;
/// The largest JSON body with rain, bytes. The most readings of one request take half of it, even indented.
pub const RAIN_JSON_LIMIT: usize = 8 * 1024 * 1024;
/// The largest rain file, bytes: fifty years of station lines with a dozen elements a day stay under it.
pub const RAIN_FILE_LIMIT: usize = 32 * 1024 * 1024;

/// The largest body of the requests to a path, bytes.
#[derive(Clone, Copy, Debug)]
pub struct BodyLimit(pub usize);

/// Refuses a request whose body is packed. A small packed body can unpack to one that fills the memory.
///
/// # Errors
/// `415` if `Content-Encoding` names anything but `identity`.
pub fn refuse_coding(headers: &HeaderMap) -> Result<(), ApiError> {
    let plain = |coding: &str| coding.is_empty() || coding.eq_ignore_ascii_case("identity");
    let all_plain = |text: &str| text.split(',').all(|coding| plain(coding.trim()));
    if headers.get_all(header::CONTENT_ENCODING).all(|value| value.to_str().is_ok_and(all_plain)) {
        Ok(())
    } else {
        Err(ApiError::coding_refused(
            "Send the request without Content-Encoding: bodies are read as they come.",
        ))
    }
}

/// Reads a body to its end.
///
/// # Errors
/// `413` if it is larger than `limit`, before more than that is read; `408` if it comes too slowly; `400` if it breaks off.
pub async fn collect(headers: &HeaderMap, mut payload: Payload, limit: usize) -> Result<Bytes, ApiError> {
    let declared =
        headers.get(header::CONTENT_LENGTH).and_then(|value| value.to_str().ok()?.parse::<u64>().ok());
    if declared.is_some_and(|declared| declared > limit as u64) {
        return Err(too_large(limit));
    }
    let mut body = BytesMut::new();
    while let Some(piece) = payload.next().await {
        let piece = piece.map_err(|error| broken_off(&error))?;
        if body.len() + piece.len() > limit {
            return Err(too_large(limit));
        }
        body.extend_from_slice(&piece);
    }
    Ok(body.freeze())
}

fn too_large(limit: usize) -> ApiError {
    let limit = limit / (1024 * 1024);
    let detail =
        format!("The body is larger than {limit} MiB, the most of this path; send it in several parts.");
    ApiError::new(ProblemCode::BodyTooLarge, detail)
}

/// A body that did not come to its end.
pub fn broken_off(error: &PayloadError) -> ApiError {
    if matches!(error, PayloadError::Io(error) if error.kind() == io::ErrorKind::TimedOut) {
        let detail = "The body came too slowly. Send it again on a faster connection, or in several parts.";
        return ApiError::new(ProblemCode::BodyTooSlow, detail);
    }
    ApiError::new(ProblemCode::MalformedBody, format!("The body could not be read: {error}."))
}

#[cfg(test)]
mod tests {
    use super::*;
    use actix_web::http::header::{CONTENT_ENCODING, HeaderValue};

    #[test]
    fn only_a_body_that_is_not_packed_is_taken() {
        let taken = |values: &[&[u8]]| {
            let mut headers = HeaderMap::new();
            for value in values {
                headers.append(CONTENT_ENCODING, HeaderValue::from_bytes(value).unwrap());
            }
            refuse_coding(&headers).is_ok()
        };
        let plain: [&[&[u8]]; 5] =
            [&[], &[b""], &[b"identity"], &[b"Identity , IDENTITY"], &[b"identity", b","]];
        for values in plain {
            assert!(taken(values), "{values:?}");
        }
        let packed: [&[&[u8]]; 7] = [
            &[b"br"],
            &[b"GZip"],
            &[b"identity, deflate"],
            &[b"identity", b"zstd"],
            &[b"gzip", b"identity"],
            &[b"identity;q=1"],
            &[b"\xffbr"],
        ];
        for values in packed {
            assert!(!taken(values), "{values:?}");
        }
    }
}
