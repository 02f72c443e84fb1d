#!/usr/bin/env node
/**
 * ffmpeg with a fault. In all it says of itself, and in every call but the encode of a night, it is the real program
 * (RUSHLIGHT_REAL_FFMPEG, else the `ffmpeg` on PATH). The encode it does as RUSHLIGHT_FAULT says: one operation of
 * operation.ts, or several of them, as JSON. What was done is written to RUSHLIGHT_FAULT_NOTE, if that names a file; a fault that cannot be
 * done ends with 99 and leaves no note, so that nobody takes it for one that was caught.
 */
import { spawn } from 'node:child_process';
import {
  closeSync,
  copyFileSync,
  fstatSync,
  mkdtempSync,
  openSync,
  readFileSync,
  readlinkSync,
  rmSync,
  writeFileSync,
} from 'node:fs';
import { tmpdir } from 'node:os';
import { extname, join } from 'node:path';
import {
  argumentsWith,
  codesEachPicture,
  elsewhere,
  inputOf,
  isEncode,
  stagedOf,
  withInput,
} from './command.mjs';
import { damagedCopy, spoilFile } from './spoil.mjs';

const real = process.env.RUSHLIGHT_REAL_FFMPEG ?? 'ffmpeg';
const args = process.argv.slice(2);
/** More than any caller hands down. */
const HIGHEST_DESCRIPTOR = 64;
/** Done to the bytes of the finished file; every other fault of a file is the spoiled one of a second run put over the good one. */
const inBytes = ['bit', 'truncate', 'timecode', 'lose-track'];

/** Every descriptor that was handed down, under its own number; those that this program's own runtime opened are not. */
function handedDown() {
  return Array.from({ length: HIGHEST_DESCRIPTOR + 1 }, (_, number) => {
    try {
      fstatSync(number);
    } catch {
      return 'ignore';
    }
    try {
      return number > 2 && readlinkSync(`/proc/self/fd/${number}`).startsWith('anon_inode:')
        ? 'ignore'
        : number;
    } catch {
      // No /proc here.
      return number;
    }
  });
}

/** Runs the real program to its end: its exit code, or 128 + the number of its signal as a shell would say. */
async function run(list, { stdio = handedDown(), mute = false } = {}) {
  const places = [...stdio];
  if (mute) places[2] = 'pipe';
  const child = spawn(real, list, { stdio: places });
  if (mute) {
    let rest = '';
    child.stderr.setEncoding('utf8').on('data', (text) => {
      const lines = (rest + text).split('\n');
      rest = lines.pop();
      for (const line of lines)
        if (!/\[(?:error|fatal|panic)\]/.test(line)) process.stderr.write(`${line}\n`);
    });
  }
  return await new Promise((resolve, reject) => {
    child.once('error', reject);
    child.once('close', (code, signal) => resolve(signal === null ? code : 137));
  });
}

/** The command once more with the fault in it, into a private folder, and the file that comes out put over the good one. */
async function again(operation) {
  const folder = mkdtempSync(join(tmpdir(), 'rushlight-fault-'));
  try {
    const { list, path } = elsewhere(argumentsWith(args, operation), operation.profile, folder);
    // Whatever else the command tells was told by the good one.
    const nowhere = openSync('/dev/null', 'r+');
    const code = await run(list, { stdio: Array.from({ length: HIGHEST_DESCRIPTOR + 1 }, () => nowhere) });
    closeSync(nowhere);
    if (code === 0) copyFileSync(path, stagedOf(args, operation.profile));
    return code;
  } finally {
    rmSync(folder, { recursive: true, force: true });
  }
}

async function encode(operation) {
  if (operation.do === 'nothing') return 0;
  if (operation.do === 'hang') {
    await new Promise(() => setInterval(() => undefined, 60_000));
  }
  if (operation.do === 'damage') {
    const source = inputOf(args);
    const folder = mkdtempSync(join(tmpdir(), 'rushlight-fault-'));
    try {
      const copy = join(folder, `clip${extname(source)}`);
      writeFileSync(copy, damagedCopy(readFileSync(source), operation));
      return await run(
        withInput(args, copy).filter((argument) => argument !== '-xerror'),
        { mute: true },
      );
    } finally {
      rmSync(folder, { recursive: true, force: true });
    }
  }
  const several = operation.do === 'several' ? operation.operations : [operation];
  const onTheWay = several.filter(({ stage }) => stage !== 'file');
  const code = await run(onTheWay.reduce(argumentsWith, args));
  for (const one of several.filter(({ stage }) => stage === 'file')) {
    if (code !== 0) return code;
    const spoiled = await spoilStaged(one);
    if (spoiled !== 0) return spoiled;
  }
  return code;
}

/** A fault of the finished file. */
async function spoilStaged(operation) {
  const staged = stagedOf(args, operation.profile);
  if (
    !inBytes.includes(operation.do) &&
    !(operation.do === 'frames' && codesEachPicture(args, operation.profile))
  )
    return await again({ ...operation, stage: 'encoder' });
  writeFileSync(staged, spoilFile(readFileSync(staged), operation));
  return 0;
}

if (!isEncode(args)) {
  process.exitCode = await run(args);
} else {
  try {
    const operation = JSON.parse(process.env.RUSHLIGHT_FAULT ?? '{"do":"none"}');
    const code = await encode(operation);
    if (process.env.RUSHLIGHT_FAULT_NOTE !== undefined)
      writeFileSync(process.env.RUSHLIGHT_FAULT_NOTE, JSON.stringify({ operation, code }));
    process.exitCode = code;
  } catch (error) {
    process.stderr.write(`[error] the fault could not be done: ${error.stack}\n`);
    process.exitCode = 99;
  }
}
