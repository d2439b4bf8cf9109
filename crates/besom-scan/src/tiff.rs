//! TIFF.
use std::io::{Read, Seek};
use crate::error::Fault;
use crate::{Frame, Header, SampleEdit};
#[derive(Clone, Debug)]
pub(crate) struct Layout;
pub(crate) fn read_header<R: Read + Seek>(_file: &mut R, _length: u64) -> Result<Header, Fault> { Err(Fault::unsupported("TIFF is not read yet")) }
pub(crate) fn decode(_bytes: &[u8]) -> Result<(Header, Frame, Layout), Fault> { Err(Fault::unsupported("TIFF is not read yet")) }
impl Layout { pub(crate) fn patched(&self, _bytes: &[u8], _edits: &[SampleEdit]) -> Result<Vec<u8>, Fault> { Err(Fault::unsupported("TIFF is not read yet")) } }
