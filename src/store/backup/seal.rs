//! Locking a backup (the file format of age, age-encryption.org/v1): with a pass phrase, or for a public key, so that the
//! machine that makes the backup cannot open it.

use std::fs::File;
use std::io::{self, BufReader, BufWriter, Read, Write};
use std::path::Path;
use std::sync::Arc;

use super::BackupError;
use super::sum::{self, Sum, Summing};
use crate::store::open::{create_private, start_of};
use age::secrecy::{ExposeSecret, SecretString};
use age::{Decryptor, Encryptor, Identity, IdentityFile, scrypt, x25519};

/// The shortest pass phrase that is taken. A stolen backup can be tried at leisure.
const LEAST_PASS_PHRASE: usize = 12;
/// The first line of a locked file.
const MAGIC: &[u8] = b"age-encryption.org/v1\n";

/// How a backup is locked.
#[derive(Clone)]
pub enum Seal {
    /// Not at all.
    Open,
    /// With a pass phrase.
    PassPhrase(SecretString),
    /// For whoever has the key.
    Recipient(Box<x25519::Recipient>),
}

/// What opens a locked backup.
#[derive(Clone)]
pub struct Key(Arc<dyn Identity + Send + Sync>);

impl Seal {
    /// A pass phrase of the owner.
    ///
    /// # Errors
    ///
    /// [`BackupError::Key`] for one that is too short.
    pub fn pass_phrase(text: &str) -> Result<Self, BackupError> {
        let text = text.trim_end_matches(['\r', '\n']);
        if text.chars().count() < LEAST_PASS_PHRASE {
            return Err(BackupError::Key(format!(
                "a pass phrase has at least {LEAST_PASS_PHRASE} characters: four or five words that do not belong together"
            )));
        }
        Ok(Self::PassPhrase(SecretString::from(text.to_owned())))
    }

    /// For a public key; for nobody where the text is empty.
    ///
    /// # Errors
    ///
    /// [`BackupError::Key`] for a text that is no key.
    pub fn recipient(text: &str) -> Result<Self, BackupError> {
        if text.trim().is_empty() {
            return Ok(Self::Open);
        }
        Ok(Self::Recipient(Box::new(read_recipient(text)?)))
    }

    /// Whether the backup is encrypted.
    pub fn is_sealed(&self) -> bool {
        !matches!(self, Self::Open)
    }

    fn encryptor(&self) -> Result<Encryptor, BackupError> {
        match self {
            Self::Open => Err(BackupError::Key("an open backup has no lock".to_owned())),
            Self::PassPhrase(text) => Ok(Encryptor::with_user_passphrase(text.clone())),
            Self::Recipient(key) => Encryptor::with_recipients(std::iter::once(&**key as &dyn age::Recipient))
                .map_err(|why| BackupError::Key(why.to_string())),
        }
    }
}

/// Reads a public key, `age1…`.
///
/// # Errors
///
/// [`BackupError::Key`], a sentence for the page.
pub fn read_recipient(text: &str) -> Result<x25519::Recipient, BackupError> {
    text.trim().parse().map_err(|_| {
        BackupError::Key(
            "A public key begins with age1. `rimbook new-key FILE` makes a pair of keys and prints the public one"
                .to_owned(),
        )
    })
}

impl Key {
    /// A pass phrase as the owner gives it.
    pub fn pass_phrase(text: &str) -> Self {
        let text = text.trim_end_matches(['\r', '\n']);
        Self(Arc::new(scrypt::Identity::new(SecretString::from(text.to_owned()))))
    }

    /// The secret key in a file, as `rimbook new-key` wrote it.
    ///
    /// # Errors
    ///
    /// [`BackupError`] for a file without a key.
    pub fn from_file(file: &Path) -> Result<Self, BackupError> {
        let reader = File::open(file).map(BufReader::new).map_err(|why| BackupError::read(file, why))?;
        let none = |why: String| BackupError::Key(format!("{} holds no secret key: {why}", file.display()));
        let keys = IdentityFile::from_buffer(reader).map_err(|why| none(why.to_string()))?;
        let mut keys = keys.into_identities().map_err(|why| none(why.to_string()))?;
        let key = keys.pop().ok_or_else(|| none("it is empty".to_owned()))?;
        Ok(Self(Arc::from(key)))
    }
}

/// Makes a pair of keys: the secret one in a new file that its owner alone can read. Answers the public one.
///
/// # Errors
///
/// [`BackupError::Write`]; a file that is there is never overwritten.
pub fn make_key(file: &Path) -> Result<String, BackupError> {
    let failed = |why: io::Error| BackupError::write(file, why);
    let key = x25519::Identity::generate();
    let public = key.to_public().to_string();
    create_private(file).map_err(failed)?;
    let mut out = File::options().write(true).open(file).map_err(failed)?;
    let text = format!(
        "# The secret key of Rimbook's backups. Whoever has this file can open them; without it nobody can.\n\
         # public key: {public}\n{}\n",
        key.to_string().expose_secret()
    );
    out.write_all(text.as_bytes()).and_then(|()| out.sync_all()).map_err(failed)?;
    Ok(public)
}

/// Whether a file is encrypted.
pub(super) fn is_sealed(file: &Path) -> Result<bool, BackupError> {
    Ok(start_of(file, MAGIC.len()).map_err(|why| BackupError::read(file, why))? == MAGIC)
}

/// Writes a locked copy of a file and reads it again: with a pass phrase it is opened and compared with what was locked; for
/// a public key, which this machine cannot open, every byte is compared with what was written.
pub(super) fn lock(plain: &Path, locked: &Path, seal: &Seal) -> Result<(), BackupError> {
    let encryptor = seal.encryptor()?;
    let failed = |why: io::Error| BackupError::write(locked, why);
    create_private(locked).map_err(failed)?;
    let out = File::options().write(true).truncate(true).open(locked).map_err(failed)?;
    let mut out = Summing::new(BufWriter::new(out));
    let mut input = Summing::new(File::open(plain).map_err(|why| BackupError::read(plain, why))?);
    let mut sealed = encryptor.wrap_output(&mut out).map_err(failed)?;
    io::copy(&mut input, &mut sealed).map_err(failed)?;
    sealed.finish().and_then(|out| out.flush()).map_err(failed)?;
    out.inner.get_ref().sync_all().map_err(failed)?;
    let is_equal = match seal {
        Seal::PassPhrase(text) => opened_hash(locked, &scrypt::Identity::new(text.clone()))? == input.sum(),
        _ => sum::of_file(locked)? == out.sum(),
    };
    if is_equal { Ok(()) } else { Err(BackupError::bad(locked, "what was read back is not what was written")) }
}

/// Writes what a locked file holds.
pub(super) fn unlock(file: &Path, to: &Path, key: &Key) -> Result<(), BackupError> {
    let failed = |why: io::Error| BackupError::write(to, why);
    create_private(to).map_err(failed)?;
    let mut out = File::options().write(true).truncate(true).open(to).map_err(failed)?;
    unlock_into(file, &mut out, key)?;
    out.sync_all().map_err(failed)
}

/// The same into a file that is open.
pub(super) fn unlock_into(file: &Path, out: &mut File, key: &Key) -> Result<(), BackupError> {
    copy_opened(file, &mut open(file, &*key.0)?, out)
}

fn open<'a>(file: &Path, key: &'a (dyn Identity + 'a)) -> Result<impl Read + use<'a>, BackupError> {
    let not_opened =
        |why: age::DecryptError| BackupError::NotOpened { file: file.display().to_string(), why: why.to_string() };
    let input = File::open(file).map(BufReader::new).map_err(|why| BackupError::read(file, why))?;
    Decryptor::new_buffered(input).map_err(not_opened)?.decrypt(std::iter::once(key)).map_err(not_opened)
}

/// A changed or cut file is seen here: each part of it carries a tag, and the last one says that it is the last.
fn copy_opened(file: &Path, opened: &mut impl Read, out: &mut impl Write) -> Result<(), BackupError> {
    io::copy(opened, out).map(|_| ()).map_err(|why| BackupError::bad(file, why))
}

fn opened_hash(file: &Path, key: &dyn Identity) -> Result<Sum, BackupError> {
    let mut sum = Summing::new(io::sink());
    copy_opened(file, &mut open(file, key)?, &mut sum)?;
    Ok(sum.sum())
}
