#!/usr/bin/env node
/**
 * ffmpeg whose frames for the threads of masters are others than its decoder gave: RUSHLIGHT_FRAMES_FILTER, a filter graph from [a] to [b],
 * is put into their way and nowhere else. In every other call it is the real program. A command without such frames is left alone.
 */
import { spawn } from 'node:child_process';
import { fstatSync, readlinkSync } from 'node:fs';

const args = process.argv.slice(2);
const graph = args.indexOf('-filter_complex') + 1;
const map = args.findIndex((word, index) => word === '[frames]' && args[index - 1] === '-map');
if (graph > 0 && map > 0) {
  const filter = process.env.RUSHLIGHT_FRAMES_FILTER;
  args[graph] += `;${filter.replaceAll('[a]', '[frames]').replaceAll('[b]', '[other-frames]')}`;
  args[map] = '[other-frames]';
}
const child = spawn('ffmpeg', args, {
  stdio: Array.from({ length: 65 }, (_, number) => number).map(handedDown),
});
child.once('error', () => process.exit(98));
child.once('close', (code, signal) => process.exit(signal === null ? code : 137));

function handedDown(number) {
  try {
    fstatSync(number);
    return number > 2 && readlinkSync(`/proc/self/fd/${number}`).startsWith('anon_inode:')
      ? 'ignore'
      : number;
  } catch {
    return 'ignore';
  }
}
