//! The keys that encrypt the secrets of subscriptions where they are stored. They come from a file that no backup of the
//! database holds, so that a copy of the database alone signs nothing.
//!
//! A key file has one key a line: 32 bytes in Base64. The first one encrypts; the others still decrypt, so that a key
//! can be replaced. Empty lines and lines that begin with `#` are skipped.

use crate::domain::base::error::{StoreError, Stored};
use crate::domain::base::ids::{AccountId, SubscriptionId, random_256};
use aes_gcm_siv::aead::{Aead as _, Payload};
use aes_gcm_siv::{Aes256GcmSiv, KeyInit as _};
use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;
use sha2::{Digest as _, Sha256};
use std::fs::{self, OpenOptions};
use std::io::{self, Write as _};
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, PoisonError};

/// Bytes of a secret that an earlier version stored in clear. What is encrypted is longer.
const IN_CLEAR: usize = 32;

/// Bytes that name a key.
const NAME: usize = 8;

/// The keys, if there are any, and where to find or make them.
#[derive(Clone)]
pub struct SecretKeys {
    known: Arc<Mutex<Option<Arc<Vec<Key>>>>>,
    /// A file that is read, and made, when it is needed first: beside an SQLite database.
    beside: Option<PathBuf>,
}

/// One key, and the start of its hash, which each encrypted secret carries.
struct Key {
    name: [u8; NAME],
    cipher: Aes256GcmSiv,
}

impl std::fmt::Debug for SecretKeys {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("SecretKeys").field("beside", &self.beside).finish_non_exhaustive()
    }
}

impl Key {
    fn read(line: &str) -> Option<Self> {
        let bytes = STANDARD.decode(line).ok()?;
        let mut name = [0; NAME];
        name.copy_from_slice(Sha256::digest(&bytes).get(..NAME)?);
        Some(Self { name, cipher: Aes256GcmSiv::new_from_slice(&bytes).ok()? })
    }
}

fn read(text: &str) -> Result<Vec<Key>, String> {
    let lines = text.lines().map(str::trim).zip(1_usize..);
    let keys = lines.filter(|(line, _)| !line.is_empty() && !line.starts_with('#')).map(|(line, number)| {
        Key::read(line).ok_or_else(|| format!("line {number} is not a key: 32 bytes in Base64"))
    });
    let keys = keys.collect::<Result<Vec<_>, _>>()?;
    if keys.is_empty() { Err("it has no key".to_owned()) } else { Ok(keys) }
}

/// What is encrypted belongs to this subscription of this account, and cannot be moved to another one.
fn place(account: AccountId, id: SubscriptionId) -> [u8; 32] {
    let mut place = [0; 32];
    let (front, back) = place.split_at_mut(16);
    front.copy_from_slice(account.0.as_bytes());
    back.copy_from_slice(id.0.as_bytes());
    place
}

/// The nonce follows from the row. The cipher allows a nonce to be used again: one who sees two equal ciphertexts of a row
/// learns that they hold the same secret, and nothing else (RFC 8452, section 9).
fn nonce(id: SubscriptionId) -> [u8; 12] {
    let mut nonce = [0; 12];
    nonce.copy_from_slice(&Sha256::digest(id.0.as_bytes())[..12]);
    nonce
}

impl SecretKeys {
    /// No key: nothing can be encrypted or decrypted.
    pub(super) fn none() -> Self {
        Self { known: Arc::default(), beside: None }
    }

    /// The keys of a text as it stands in a key file.
    ///
    /// # Errors
    /// A sentence that says what is wrong.
    pub fn of_text(text: &str) -> Result<Self, String> {
        Ok(Self { known: Arc::new(Mutex::new(Some(Arc::new(read(text)?)))), beside: None })
    }

    /// The keys of a file.
    ///
    /// # Errors
    /// A sentence that says what is wrong.
    pub fn of_file(path: &Path) -> Result<Self, String> {
        let text = fs::read_to_string(path)
            .map_err(|error| format!("the key file {} cannot be read: {error}", path.display()))?;
        Self::of_text(&text).map_err(|why| format!("the key file {}: {why}", path.display()))
    }

    /// Those of the file beside an SQLite database. The file is made when the first secret is stored.
    pub(super) fn beside(database: &Path) -> Self {
        let mut path = database.as_os_str().to_owned();
        path.push(".secrets-key");
        Self { known: Arc::default(), beside: Some(path.into()) }
    }

    fn known(&self) -> Stored<Option<Arc<Vec<Key>>>> {
        let mut known = self.known.lock().unwrap_or_else(PoisonError::into_inner);
        if known.is_none()
            && let Some(path) = self.beside.as_ref().filter(|path| path.exists())
        {
            let text = fs::read_to_string(path).map_err(|error| StoreError::Failed(error.into()))?;
            let keys = read(&text).map_err(|why| {
                StoreError::Failed(format!("the key file {}: {why}", path.display()).into())
            })?;
            *known = Some(Arc::new(keys));
        }
        Ok(known.clone())
    }

    /// Encrypts a secret.
    pub(super) fn seal(&self, account: AccountId, id: SubscriptionId, plain: &[u8]) -> Stored<Vec<u8>> {
        let mut keys = self.known()?;
        if let (None, Some(path)) = (&keys, &self.beside) {
            make_key_file(path).or_else(|error| match error.kind() {
                // Another process was faster.
                io::ErrorKind::AlreadyExists => Ok(()),
                _ => Err(StoreError::Failed(error.into())),
            })?;
            keys = self.known()?;
        }
        let Some(key) = keys.as_ref().and_then(|keys| keys.first()) else {
            return Err(StoreError::NoSecretKey);
        };
        let payload = Payload { msg: plain, aad: &place(account, id) };
        let sealed = key.cipher.encrypt(&nonce(id).into(), payload);
        let sealed = sealed.map_err(|error| StoreError::Failed(error.to_string().into()))?;
        Ok([key.name.as_slice(), &sealed].concat())
    }

    /// Decrypts a secret. `None` if its key is not here, or if it was made for another row.
    pub(super) fn open(
        &self,
        account: AccountId,
        id: SubscriptionId,
        stored: &[u8],
    ) -> Stored<Option<Vec<u8>>> {
        if stored.len() == IN_CLEAR {
            return Ok(Some(stored.to_vec()));
        }
        let keys = self.known()?;
        let Some((name, sealed)) = stored.split_at_checked(NAME) else { return Ok(None) };
        let key = keys.iter().flat_map(|keys| keys.iter()).find(|key| key.name == name);
        let payload = Payload { msg: sealed, aad: &place(account, id) };
        Ok(key.and_then(|key| key.cipher.decrypt(&nonce(id).into(), payload).ok()))
    }

    /// Whether a secret is stored as it would be now: encrypted with the first key.
    pub(super) fn is_current(&self, stored: &[u8]) -> Stored<bool> {
        let keys = self.known()?;
        let first = keys.as_ref().and_then(|keys| keys.first());
        Ok(stored.len() != IN_CLEAR && first.is_some_and(|key| stored.starts_with(&key.name)))
    }
}

/// Makes a file with a new key that only its owner can read.
///
/// # Errors
/// `AlreadyExists` if the file is there; otherwise why it cannot be written.
pub fn make_key_file(path: &Path) -> io::Result<()> {
    write_keys(path, "", |made, path| fs::hard_link(made, path).and_then(|()| fs::remove_file(made)))
}

/// Puts a new key before those of a file. They still decrypt.
///
/// # Errors
/// Why the file cannot be read or written.
pub fn add_key(path: &Path) -> io::Result<()> {
    let text = fs::read_to_string(path)?;
    read(&text).map_err(|why| io::Error::new(io::ErrorKind::InvalidData, why))?;
    write_keys(path, &text, |made, path| fs::rename(made, path))
}

fn write_keys(path: &Path, others: &str, put: impl Fn(&Path, &Path) -> io::Result<()>) -> io::Result<()> {
    let key = random_256().map_err(io::Error::other)?;
    let mut made = path.as_os_str().to_owned();
    made.push(format!(".{}", std::process::id()));
    let made = PathBuf::from(made);
    let mut options = OpenOptions::new();
    options.write(true).create_new(true);
    #[cfg(unix)]
    std::os::unix::fs::OpenOptionsExt::mode(&mut options, 0o600);
    let written = options.open(&made).and_then(|mut file| {
        writeln!(file, "{}", STANDARD.encode(key))?;
        file.write_all(others.as_bytes())?;
        file.sync_all()
    });
    written.and_then(|()| put(&made, path)).inspect_err(|_| {
        let _ = fs::remove_file(&made);
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use uuid::Uuid;

    const ONE: &str = "AAECAwQFBgcICQoLDA0ODxAREhMUFRYXGBkaGxwdHh8=";
    const OTHER: &str = "HxwdGhkYFxYVFBMSERAPDg0MCwoJCAcGBQQDAgEAAAA=";

    fn ids(number: u128) -> (AccountId, SubscriptionId) {
        (AccountId(Uuid::from_u128(1)), SubscriptionId(Uuid::from_u128(number)))
    }

    #[test]
    fn a_secret_is_read_where_it_was_stored_and_nowhere_else() {
        let keys = SecretKeys::of_text(ONE).unwrap();
        let (account, id) = ids(7);
        let sealed = keys.seal(account, id, &[5; 32]).unwrap();
        assert!(!sealed.windows(4).any(|four| four == [5; 4]), "not in clear");
        assert_eq!(keys.open(account, id, &sealed).unwrap(), Some(vec![5; 32]));
        assert_eq!(keys.open(account, ids(8).1, &sealed).unwrap(), None, "another row");
        assert_eq!(keys.open(AccountId(Uuid::from_u128(2)), id, &sealed).unwrap(), None, "another account");
        let mut changed = sealed.clone();
        *changed.last_mut().unwrap() ^= 1;
        assert_eq!(keys.open(account, id, &changed).unwrap(), None);
        assert_eq!(keys.open(account, id, &[3]).unwrap(), None);
        assert_eq!(keys.open(account, id, &[5; 32]).unwrap(), Some(vec![5; 32]), "one of before");
        let stranger = SecretKeys::of_text(OTHER).unwrap();
        assert_eq!(stranger.open(account, id, &sealed).unwrap(), None, "another key");
    }

    #[test]
    fn a_replaced_key_still_decrypts() {
        let (account, id) = ids(7);
        let old = SecretKeys::of_text(ONE).unwrap().seal(account, id, &[5; 32]).unwrap();
        let both = SecretKeys::of_text(&format!("# of May\n{OTHER}\n\n{ONE}\n")).unwrap();
        assert_eq!(both.open(account, id, &old).unwrap(), Some(vec![5; 32]));
        assert!(!both.is_current(&old).unwrap() && !both.is_current(&[5; 32]).unwrap());
        let new = both.seal(account, id, &[5; 32]).unwrap();
        assert!(both.is_current(&new).unwrap());
        assert_eq!(SecretKeys::of_text(OTHER).unwrap().open(account, id, &new).unwrap(), Some(vec![5; 32]));
    }

    #[test]
    fn a_text_that_holds_no_keys_is_told_without_showing_it() {
        for (wrong, why) in [("", "no key"), ("wellspring", "line 1"), (&format!("{ONE}\nAAAA"), "line 2")] {
            let told = SecretKeys::of_text(wrong).unwrap_err();
            assert!(told.contains(why) && !told.contains(ONE) && !told.contains("wellspring"), "{told}");
        }
    }

    #[test]
    fn without_a_key_nothing_is_stored() {
        let (account, id) = ids(7);
        let error = SecretKeys::none().seal(account, id, &[5; 32]).unwrap_err();
        assert!(matches!(error, StoreError::NoSecretKey), "{error:?}");
    }

    #[test]
    fn the_cipher_is_that_of_the_standard() {
        // RFC 8452, appendix C.2 (AES-256), the case with a plaintext of 8 bytes and additional data of 1 byte.
        let mut key = [0; 32];
        key[0] = 1;
        let cipher = Aes256GcmSiv::new_from_slice(&key).unwrap();
        let mut nonce = [0; 12];
        nonce[0] = 3;
        let payload = Payload { msg: &[2, 0, 0, 0, 0, 0, 0, 0], aad: &[1] };
        let sealed = cipher.encrypt(&nonce.into(), payload).unwrap();
        let result: u128 = 0x1de2_2967_237a_8132_9121_3f26_7e3b_452f;
        assert_eq!(sealed[..16], result.to_be_bytes());
        assert_eq!(sealed[16..], 0x02d0_1ae3_3e4e_c854_u64.to_be_bytes());
    }
}
