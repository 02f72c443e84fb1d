/**
 * Headers of WAV files: RIFF (Multimedia Programming Interface and Data Specifications 1.0), RF64 and BW64 (EBU Tech 3306, ITU-R BS.2088), `bext`
 * (EBU Tech 3285), the extensible format (`WAVEFORMATEXTENSIBLE`). Numbers from memory; the tests hold them against files that ffmpeg wrote.
 */
import type { FileHandle } from 'node:fs/promises';
import { readAt } from '../../../files/bytes.ts';
import { type WaveBits, waveBits, WaveDamage, type WaveHeader } from './header.ts';
import { MOST_IXML_BYTES, takeIn } from './ixml.ts';

const UNKNOWN_SIZE = 0xffff_ffff;
/** A recorder writes a dozen; a file of small chunks without end is none of theirs. */
const MOST_CHUNKS = 1000;
const BEXT_BYTES = 346;
/** What stands behind the two bytes of the tag in a sub-format (KSDATAFORMAT_SUBTYPE_PCM and _IEEE_FLOAT). */
const SUBFORMAT = '000000001000800000aa00389b71';
const PCM = 1;
const FLOAT = 3;
const EXTENSIBLE = 0xfffe;

type Format = Pick<WaveHeader, 'sampleRate' | 'channels' | 'bits' | 'coding' | 'channelMask'>;

function formatIn(bytes: Buffer): Format {
  if (bytes.length < 16) throw new WaveDamage(`a format of ${bytes.length} bytes`);
  const stored = bytes.readUInt16LE(0);
  const channels = bytes.readUInt16LE(2);
  const sampleRate = bytes.readUInt32LE(4);
  const block = bytes.readUInt16LE(12);
  const extensible = stored === EXTENSIBLE;
  if (extensible && (bytes.length < 40 || bytes.toString('hex', 26, 40) !== SUBFORMAT))
    throw new WaveDamage('an extensible format that names none');
  const tag = extensible ? bytes.readUInt16LE(24) : stored;
  if (tag !== PCM && tag !== FLOAT)
    throw new WaveDamage(
      `samples of format ${tag}: only whole numbers (1, PCM) and floats (3, IEEE float) are read`,
    );
  if (channels === 0 || sampleRate === 0) throw new WaveDamage(`${channels} channels at ${sampleRate} Hz`);
  const bits = waveBits.find((one): one is WaveBits => (one * channels) / 8 === block);
  if (bits === undefined)
    throw new WaveDamage(
      `${block} bytes for ${channels} channels: only samples of 16, 24 and 32 bits are read`,
    );
  if (tag === FLOAT && bits !== 32) throw new WaveDamage(`floats of ${bits} bits: only those of 32 are read`);
  const mask = extensible ? bytes.readUInt32LE(20) : 0;
  return {
    sampleRate,
    channels,
    bits,
    coding: tag === FLOAT ? 'float' : 'integer',
    channelMask: mask === 0 ? null : mask,
  };
}

/** Throws WaveDamage, and what reading throws. */
export async function readWave(handle: FileHandle): Promise<WaveHeader> {
  const fileBytes = (await handle.stat()).size;
  const head = await readAt(handle, 0, 12);
  const magic = head.toString('latin1', 0, 4);
  if (
    head.length < 12 ||
    !['RIFF', 'RF64', 'BW64'].includes(magic) ||
    head.toString('latin1', 8, 12) !== 'WAVE'
  )
    throw new WaveDamage('no WAV file by its first bytes');
  let format: Format | null = null;
  let data: { readonly offset: number; readonly bytes: number } | null = null;
  let timeReference: bigint | null = null;
  let longData: bigint | null = null;
  let take: WaveHeader['take'] = null;
  let at = 12;
  for (let count = 0; at + 8 <= fileBytes; count += 1) {
    if (count === MOST_CHUNKS) throw new WaveDamage(`more than ${MOST_CHUNKS} chunks`);
    const start = await readAt(handle, at, 8);
    const name = start.toString('latin1', 0, 4);
    let bytes = start.readUInt32LE(4);
    if (name === 'data' && bytes === UNKNOWN_SIZE) {
      if (longData === null) throw new WaveDamage('samples of unknown length: the file was never closed');
      bytes = Number(longData);
    }
    if (at + 8 + bytes > fileBytes)
      throw new WaveDamage(
        `${JSON.stringify(name)} ends at byte ${at + 8 + bytes} of a file of ${fileBytes} bytes`,
      );
    if (name === 'ds64') {
      const sizes = await readAt(handle, at + 8, Math.min(bytes, 16));
      if (sizes.length < 16) throw new WaveDamage(`long sizes of ${sizes.length} bytes`);
      longData = sizes.readBigUInt64LE(8);
    } else if (name === 'fmt ') {
      if (format !== null) throw new WaveDamage('two formats');
      format = formatIn(await readAt(handle, at + 8, Math.min(bytes, 40)));
    } else if (name === 'bext') {
      const stated = await readAt(handle, at + 8, Math.min(bytes, BEXT_BYTES));
      if (stated.length === BEXT_BYTES) timeReference = stated.readBigUInt64LE(338);
    } else if (name === 'iXML') {
      take = bytes > MOST_IXML_BYTES ? `iXML of ${bytes} bytes` : takeIn(await readAt(handle, at + 8, bytes));
    } else if (name === 'data') {
      if (data !== null) throw new WaveDamage('two parts of samples');
      data = { offset: at + 8, bytes };
    }
    // A chunk of an odd number of bytes is followed by one more.
    at += 8 + bytes + (bytes % 2);
  }
  if (format === null || data === null) throw new WaveDamage(`no ${format === null ? 'format' : 'samples'}`);
  const block = (format.channels * format.bits) / 8;
  if (data.bytes % block !== 0) throw new WaveDamage('the samples end within a sample');
  return {
    form: magic === 'RIFF' ? 'riff' : 'rf64',
    ...format,
    samples: data.bytes / block,
    dataOffset: data.offset,
    timeReference,
    take,
  };
}
