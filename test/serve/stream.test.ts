/** Readers of events: one who takes nothing is dropped, whoever writes does not wait for it, and the others get everything. */
import { once } from 'node:events';
import { createServer, type Server } from 'node:http';
import { type AddressInfo, connect, type Socket } from 'node:net';
import { afterEach, expect, test } from 'vitest';
import { eventOf, newStream, type Stream } from '../../serve/stream.ts';

let server: Server | undefined;
const sockets: Socket[] = [];
afterEach(async () => {
  for (const socket of sockets.splice(0)) socket.destroy();
  server?.closeAllConnections();
  server?.close();
});

async function serving(stream: Stream): Promise<number> {
  server = createServer((_request, response) => {
    if (!stream.add(response, { 'x-test': '1' }, eventOf('whole', '{}'))) response.writeHead(503).end();
  });
  server.listen(0, '127.0.0.1');
  await once(server, 'listening');
  return (server.address() as AddressInfo).port;
}

async function reader(port: number, reads = true): Promise<{ socket: Socket; text: () => string }> {
  const socket = connect({ host: '127.0.0.1', port });
  sockets.push(socket);
  socket.on('error', () => undefined);
  let text = '';
  await once(socket, 'connect');
  if (reads) socket.setEncoding('utf8').on('data', (part: string) => void (text += part));
  else socket.pause();
  socket.write('GET / HTTP/1.1\r\nHost: here\r\n\r\n');
  return { socket, text: () => text };
}

test('a reader gets the whole first, then each event in order', async () => {
  const stream = newStream();
  const one = await reader(await serving(stream));
  await expect.poll(() => stream.readers).toBe(1);
  for (let at = 0; at < 5; at += 1) stream.send(eventOf('changes', JSON.stringify({ at })));
  await expect.poll(one.text).toContain('{"at":4}');
  const events = [...one.text().matchAll(/^event: (\w+)\ndata: (.*)$/gm)].map(([, name, data]) => [
    name,
    data,
  ]);
  expect(events).toEqual([
    ['whole', '{}'],
    ...Array.from({ length: 5 }, (_, at) => ['changes', JSON.stringify({ at })]),
  ]);
  // WHATWG HTML, 9.2.5: this type, in UTF-8.
  expect(one.text()).toMatch(/content-type: text\/event-stream/i);
  expect(one.text()).toContain('retry: ');
  stream.end(eventOf('end', '{}'));
  await once(one.socket, 'close');
  expect(one.text()).toContain('event: end');
});

test('a reader who takes nothing is dropped once its share is full; nobody waits, and the other one misses nothing', async () => {
  const stream = newStream(300_000);
  const port = await serving(stream);
  await reader(port, false);
  const lively = await reader(port);
  await expect.poll(() => stream.readers).toBe(2);
  const event = eventOf('changes', 'x'.repeat(100_000));
  // More than kernels keep for a connection, whatever they grow it to.
  let sent = 0;
  while (stream.readers > 1 && sent < 2_000) {
    stream.send(event);
    sent += 1;
    await expect.poll(() => lively.text().length).toBeGreaterThan(sent * 100_000);
  }
  expect(stream.readers).toBe(1);
  expect(sent).toBeGreaterThan(2);
  expect(lively.text().match(/event: changes/g)).toHaveLength(sent);
});

test('a reader that goes away is forgotten', async () => {
  const stream = newStream();
  const one = await reader(await serving(stream));
  await expect.poll(() => stream.readers).toBe(1);
  one.socket.destroy();
  await expect.poll(() => stream.readers).toBe(0);
  stream.send(eventOf('changes', '{}'));
});

test('more readers than it has places for are sent away', async () => {
  const stream = newStream(1_000, 2);
  const port = await serving(stream);
  await reader(port);
  await reader(port);
  await expect.poll(() => stream.readers).toBe(2);
  const late = await reader(port);
  await expect.poll(late.text).toContain('503');
  expect(stream.readers).toBe(2);
});
