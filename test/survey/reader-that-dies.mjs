/** A stand-in for the process that reads headers: it ends as the name of the file says, and reads all others as the real one does. */
import { join } from 'node:path';

const dist = join(import.meta.dirname, '..', '..', 'dist');
const { serveOrders } = await import(join(dist, 'process', 'helper.js'));
const { readersHere } = await import(join(dist, 'media', 'raw', 'clip-readers.js'));

serveOrders(async ({ path }) => {
  const name = String(path);
  if (name.includes('abort')) process.abort();
  if (name.includes('exit')) process.exit(7);
  if (name.includes('loop')) for (;;);
  if (name.includes('silence')) await new Promise(() => undefined);
  if (name.includes('heap')) for (const all = []; ; ) all.push(new Array(100_000).fill(all.length));
  if (name.includes('fault')) throw new TypeError('nothing of the kind');
  return await readersHere.form(path, {});
});
