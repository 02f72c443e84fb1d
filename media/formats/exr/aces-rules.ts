/**
 * Rules of SMPTE ST 2065-4, the ACES image container, as the Academy's reference writer has them (ampas/aces_container,
 * aces_writeattributes.cpp, aces_Writer.cpp) and OpenEXR's description of the container (website/bin/exr2aces.rst).
 */
import type { Chromaticities } from './attribute.ts';

/** Primaries and white of ACES2065-1 (SMPTE ST 2065-1). */
export const AP0: Chromaticities = {
  red: [0.7347, 0.2653],
  green: [0, 1],
  blue: [0.0001, -0.077],
  white: [0.32168, 0.33767],
};

/** In this order, which is that of their names. */
export const acesRequired = {
  acesImageContainerFlag: 'int',
  channels: 'chlist',
  chromaticities: 'chromaticities',
  compression: 'compression',
  dataWindow: 'box2i',
  displayWindow: 'box2i',
  lineOrder: 'lineOrder',
  pixelAspectRatio: 'float',
  screenWindowCenter: 'v2f',
  screenWindowWidth: 'float',
} as const;

export const acesOptional = {
  altitude: 'float',
  aperture: 'float',
  cameraFirmwareVersion: 'string',
  cameraIdentifier: 'string',
  cameraLabel: 'string',
  cameraMake: 'string',
  cameraModel: 'string',
  cameraPosition: 'v3f',
  cameraSerialNumber: 'string',
  cameraUpDirection: 'v3f',
  cameraViewingDirection: 'v3f',
  capDate: 'string',
  captureRate: 'rational',
  comments: 'string',
  convergenceDistance: 'float',
  creator: 'string',
  expTime: 'float',
  focalLength: 'float',
  focus: 'float',
  framesPerSecond: 'rational',
  free: 'string',
  headerChecksum: 'string',
  imageChecksum: 'string',
  imageCounter: 'int',
  imageRotation: 'float',
  interocularDistance: 'float',
  isoSpeed: 'float',
  keyCode: 'keycode',
  latitude: 'float',
  lensAttributes: 'string',
  lensMake: 'string',
  lensModel: 'string',
  lensSerialNumber: 'string',
  longitude: 'float',
  multiView: 'stringVector',
  originalImageFlag: 'int',
  owner: 'string',
  recorderFirmwareVersion: 'string',
  recorderMake: 'string',
  recorderModel: 'string',
  recorderSerialNumber: 'string',
  reelName: 'string',
  storageMediaSerialNumber: 'string',
  timeCode: 'timecode',
  timecodeRate: 'int',
  utcOffset: 'float',
  uuid: 'string',
} as const;

/** MD5, as raw bytes in an attribute of type string. */
export const CHECKSUM_BYTES = 16;
