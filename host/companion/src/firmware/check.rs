//! Whether an image may go on a board: decided before anything is written.

use scalewright_protocol::WIRE_VERSION;
use scalewright_protocol::passport::{LAYOUT_VERSION, Passport};

use super::board::Board;
use super::image::{Format, Image, ImageFault};
use super::seal;

/// The layout of what each firmware stores, by the first version that has it.
/// A scale does not tell its layout in its greeting, but its version.
const LAYOUTS: [((u8, u8, u8), u8); 3] =
    [((0, 1, 0), 1), ((0, 2, 0), 2), ((0, 3, 0), LAYOUT_VERSION)];

/// An image that may go on the board.
#[derive(Clone, Debug, PartialEq)]
pub struct Checked {
    /// The file it came in.
    pub format: Format,
    /// Its bytes.
    pub image: Image,
    /// What it says of itself.
    pub passport: Passport,
}

/// Why an image may not go on the board.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Refusal {
    /// The file cannot be read as an image.
    Image(ImageFault),
    /// Nothing in it says that it is ours.
    NotOurs,
    /// It is for another board.
    OtherBoard {
        /// The one it is for.
        image: String,
        /// The one it should go on.
        board: Board,
    },
    /// Bytes of it are missing, or others than when it was built.
    Damaged,
    /// It speaks another wire version than this program.
    OtherWire {
        /// That of the image.
        image: u16,
    },
    /// It does not fit.
    TooLarge {
        /// What it needs, bytes.
        needs: u64,
        /// What there is, bytes.
        room: u64,
    },
    /// It does not begin where the board starts, or runs out of its flash.
    Misplaced {
        /// Where it begins.
        at: u64,
    },
}

impl std::fmt::Display for Refusal {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Image(fault) => write!(f, "this is no firmware image: {fault}"),
            Self::NotOurs => write!(f, "this is no firmware image of a scale"),
            Self::OtherBoard { image, board } => {
                write!(f, "this image is for {image}, not for {board}")
            }
            Self::Damaged => write!(
                f,
                "this image is damaged: its checksum does not fit its content"
            ),
            Self::OtherWire { image } => write!(
                f,
                "this image speaks wire version {image}, this program version {WIRE_VERSION}"
            ),
            Self::TooLarge { needs, room } => write!(
                f,
                "the image is too large for the board: {needs} bytes, room is for {room}"
            ),
            Self::Misplaced { at } => {
                write!(
                    f,
                    "the image begins at {at:#x}, which is not where the board starts"
                )
            }
        }
    }
}

impl std::error::Error for Refusal {}

impl From<ImageFault> for Refusal {
    fn from(fault: ImageFault) -> Self {
        Self::Image(fault)
    }
}

/// The image in a file's content, if it may go on `board`.
///
/// # Errors
/// [`Refusal`].
pub fn examine(content: &[u8], board: Board) -> Result<Checked, Refusal> {
    let room = board.room();
    let (format, image) = Image::read(content, room.start)?;
    let passport = image
        .pieces()
        .iter()
        .find_map(|piece| Passport::find(&piece.bytes))
        .ok_or(Refusal::NotOurs)?;
    if passport.board() != board.name() {
        return Err(Refusal::OtherBoard {
            image: passport.board().into(),
            board,
        });
    }
    if passport.wire_version != WIRE_VERSION {
        return Err(Refusal::OtherWire {
            image: passport.wire_version,
        });
    }
    let span = image.span();
    if span.start != u64::from(room.start) {
        return Err(Refusal::Misplaced { at: span.start });
    }
    if span.end > u64::from(room.end) {
        return Err(Refusal::TooLarge {
            needs: span.end - span.start,
            room: room.len() as u64,
        });
    }
    if !seal::holds(&image.flat(&room)) {
        return Err(Refusal::Damaged);
    }
    Ok(Checked {
        format,
        image,
        passport,
    })
}

/// The layout firmware of this version stores in; `None` when it is newer than
/// this program.
///
/// ```
/// use scalewright::firmware::check::layout_of;
/// assert_eq!(layout_of((0, 1, 0)), Some(1));
/// assert_eq!(layout_of((0, 2, 1)), Some(2));
/// assert_eq!(layout_of((0, 3, 0)), Some(3));
/// assert_eq!(layout_of((255, 0, 0)), None);
/// ```
#[must_use]
pub fn layout_of(firmware: (u8, u8, u8)) -> Option<u8> {
    if firmware > newest_known() {
        return None;
    }
    LAYOUTS
        .iter()
        .rev()
        .find(|(since, _)| firmware >= *since)
        .map(|(_, layout)| *layout)
}

/// Version of this program, which is released together with the firmware.
fn newest_known() -> (u8, u8, u8) {
    let part = |text: &str| text.parse().unwrap_or(0);
    (
        part(env!("CARGO_PKG_VERSION_MAJOR")),
        part(env!("CARGO_PKG_VERSION_MINOR")),
        part(env!("CARGO_PKG_VERSION_PATCH")),
    )
}
