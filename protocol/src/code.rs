//! Open one-byte codes: enumerations that an older reader can still read when a newer writer has added a value.

/// Makes an enumeration that travels as one byte and keeps an unknown byte as `Other(byte)`.
macro_rules! open_code {
    (
        $(#[$meta:meta])*
        $name:ident { $( $(#[$vmeta:meta])* $variant:ident = $code:literal $text:literal, )+ }
    ) => {
        $(#[$meta])*
        #[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, serde::Serialize, serde::Deserialize)]
        #[serde(from = "u8", into = "u8")]
        pub enum $name {
            $( $(#[$vmeta])* $variant, )+
            /// A code that this version does not know.
            Other(u8),
        }

        impl From<u8> for $name {
            fn from(code: u8) -> Self {
                match code {
                    $( $code => Self::$variant, )+
                    other => Self::Other(other),
                }
            }
        }

        impl From<$name> for u8 {
            fn from(value: $name) -> u8 {
                match value {
                    $( $name::$variant => $code, )+
                    $name::Other(other) => other,
                }
            }
        }

        impl $name {
            /// Every value that this version knows, in the order of its code.
            pub const KNOWN: &'static [Self] = &[ $( Self::$variant, )+ ];

            /// The words for people and files.
            pub const fn as_str(self) -> &'static str {
                match self {
                    $( Self::$variant => $text, )+
                    Self::Other(_) => "unknown",
                }
            }
        }
    };
}

pub(crate) use open_code;
