/** The programs that Rushlight takes from the system, and what each system's package manager calls them. */

/**
 * `anyOf`: one of these on PATH will do. `named`: environment variables that name such a program elsewhere.
 * `packaged`: where an optional package leaves one, below node_modules.
 * Package names of apt were tried on Debian 12; those of the others are from memory, since no such machine was at hand.
 */
const run = [
  {
    need: 'ffmpeg',
    why: 'decodes and encodes',
    anyOf: ['ffmpeg'],
    named: 'RUSHLIGHT_FFMPEG',
    packaged: 'ffmpeg-static/ffmpeg',
    packages: { apt: 'ffmpeg', brew: 'ffmpeg', dnf: 'ffmpeg-free', pacman: 'ffmpeg' },
  },
  {
    need: 'ffprobe',
    why: 'measures',
    anyOf: ['ffprobe'],
    named: 'RUSHLIGHT_FFPROBE',
    packaged: `@ffprobe-installer/${process.platform}-${process.arch}/ffprobe`,
    packages: { apt: 'ffmpeg', brew: 'ffmpeg', dnf: 'ffmpeg-free', pacman: 'ffmpeg' },
  },
  {
    need: 'redis-server or valkey-server',
    why: "carries the night's queue",
    anyOf: ['redis-server', 'valkey-server'],
    named: 'RUSHLIGHT_REDIS_SERVER',
    packages: { apt: 'redis-server', brew: 'redis', dnf: 'valkey', pacman: 'valkey' },
  },
];

/** What the tests measure with or compare against. */
const test = [
  {
    need: 'mediainfo',
    why: 'reads finished files independently of ffmpeg',
    anyOf: ['mediainfo'],
    packages: { apt: 'mediainfo', brew: 'media-info', dnf: 'mediainfo', pacman: 'mediainfo' },
  },
  {
    need: 'xmllint',
    why: 'holds manifests against their published schema',
    anyOf: ['xmllint'],
    packages: { apt: 'libxml2-utils', brew: 'libxml2', dnf: 'libxml2', pacman: 'libxml2' },
  },
  {
    need: 'xxh64sum',
    why: 'computes checksums independently',
    anyOf: ['xxh64sum'],
    packages: { apt: 'xxhash', brew: 'xxhash', dnf: 'xxhash', pacman: 'xxhash' },
  },
  {
    need: 'openssl',
    why: 'verifies signatures independently',
    anyOf: ['openssl'],
    packages: { apt: 'openssl', brew: 'openssl@3', dnf: 'openssl', pacman: 'openssl' },
  },
  {
    need: 'sha256sum',
    why: 'computes checksums independently',
    anyOf: ['sha256sum'],
    packages: { apt: 'coreutils', brew: 'coreutils', dnf: 'coreutils', pacman: 'coreutils' },
  },
  {
    need: 'exrheader',
    why: 'reads OpenEXR files independently',
    anyOf: ['exrheader'],
    packages: { apt: 'openexr', brew: 'openexr', dnf: 'openexr', pacman: 'openexr' },
  },
  {
    need: 'oiiotool',
    why: 'reads pictures and transforms colours independently',
    anyOf: ['oiiotool'],
    packages: {
      apt: 'openimageio-tools',
      brew: 'openimageio',
      dnf: 'OpenImageIO-utils',
      pacman: 'openimageio',
    },
  },
  {
    need: 'ociochecklut',
    why: 'transforms colours independently',
    anyOf: ['ociochecklut'],
    packages: {
      apt: 'opencolorio-tools',
      brew: 'opencolorio',
      dnf: 'OpenColorIO-tools',
      pacman: 'opencolorio',
    },
  },
  {
    need: 'dcraw_emu',
    why: 'reads raw frames independently',
    anyOf: ['dcraw_emu'],
    packages: { apt: 'libraw-bin', brew: 'libraw', dnf: 'LibRaw-samples', pacman: 'libraw' },
  },
  {
    need: 'exiftool',
    why: 'writes and reads the tags of raw frames independently',
    anyOf: ['exiftool'],
    packages: {
      apt: 'libimage-exiftool-perl',
      brew: 'exiftool',
      dnf: 'perl-Image-ExifTool',
      pacman: 'perl-image-exiftool',
    },
  },
  {
    need: 'chromium',
    why: 'opens the pages as a reader does',
    anyOf: ['chromium', 'chromium-browser'],
    named: 'RUSHLIGHT_CHROMIUM',
    packages: { apt: 'chromium', brew: 'chromium', dnf: 'chromium', pacman: 'chromium' },
  },
];

export const needs = { run, test: [...run, ...test] };
