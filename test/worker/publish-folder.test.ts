/** A folder gets its final name whole or not at all, whoever else is at work and wherever the program ends. Mounting a small tmpfs needs root. */
import { execFileSync, spawn, spawnSync } from 'node:child_process';
import {
  chmodSync,
  existsSync,
  linkSync,
  mkdirSync,
  readdirSync,
  readFileSync,
  renameSync,
  rmSync,
  statSync,
  symlinkSync,
  truncateSync,
  writeFileSync,
} from 'node:fs';
import { rename, rm } from 'node:fs/promises';
import { basename, dirname, join } from 'node:path';
import { describe, expect, onTestFinished, test } from 'vitest';
import { judgeDeliverable } from '../../coordinator/gate/deliverable.ts';
import { deliverableKey } from '../../coordinator/gate/input.ts';
import { readDeliverable } from '../../coordinator/gate/disk.ts';
import { type Job, workOf } from '../../ledger/job.ts';
import { layout } from '../../ledger/layout.ts';
import { storeChecksumList } from '../../ledger/checksum-list.ts';
import { type DeliverableReport, deliverableReportSchema } from '../../ledger/report.ts';
import { completeRecords } from '../../ledger/completion.ts';
import { readRecord, writeRecord } from '../../ledger/store.ts';
import { digestOfFolder } from '../../files/folder-digest.ts';
import { packageFolder } from '../../files/installation.ts';
import { StagedFileLostError } from '../../files/publish.ts';
import {
  type FolderMoves,
  type FolderRequest,
  publishDeliverable,
  publishFolder,
} from '../../files/publish-folder.ts';
import { findDeliverables } from '../../worker/found.ts';
import { awaitedByOthers, publishStaged } from '../../worker/resume-publish.ts';
import { newToken } from '../../ledger/owner.ts';
import { sweepStaging, targetStateOf } from '../../worker/target.ts';
import { freshFolder } from '../support/folder.ts';
import { needsRoot } from '../support/root.ts';
import { bell, frameName, makeFrames, readFrames } from '../support/frames.ts';
import { clip, facts, loaded, report as reportOf, toolchain } from '../support/world.ts';

async function staged(
  folder: string,
  contents: readonly string[] = bell,
  name = '.rushlight-part-now',
): Promise<FolderRequest> {
  const path = makeFrames(join(folder, name), contents);
  return {
    staged: path,
    final: join(folder, 'A001C001'),
    checked: await digestOfFolder(path),
    isOurs: () => false,
  };
}

/** An older folder of ours under the final name; gives what recognises it. */
async function older(
  folder: string,
  contents: readonly string[] = ['yesterday', 'and the day before'],
): Promise<FolderRequest['isOurs']> {
  const { xxh128 } = await digestOfFolder(makeFrames(join(folder, 'A001C001'), contents));
  return (digest) => digest === xxh128;
}

const onDisk = (folder: string): string[] => readFrames(join(folder, 'A001C001'));

describe('a folder', () => {
  test('takes a free name, and nothing else is left beside it', async () => {
    const folder = freshFolder();
    const request = await staged(folder);
    const { ino } = statSync(request.staged);
    expect(await publishDeliverable(request)).toEqual({ kind: 'published' });
    expect(readdirSync(folder)).toEqual(['A001C001']);
    expect(onDisk(folder)).toEqual([...bell]);
    expect(statSync(request.final).ino).toBe(ino);
  });

  test('with the same files under the name is harmless', async () => {
    const folder = freshFolder();
    await publishFolder(await staged(folder));
    const { ino } = statSync(join(folder, 'A001C001'));
    expect(await publishFolder(await staged(folder))).toEqual({ kind: 'already-there' });
    expect(readdirSync(folder)).toEqual(['A001C001']);
    expect(statSync(join(folder, 'A001C001')).ino).toBe(ino);
  });

  test('takes the place of an older one of our own, of which nothing is left', async () => {
    const folder = freshFolder();
    const isOurs = await older(folder);
    expect(await publishFolder({ ...(await staged(folder)), isOurs })).toEqual({ kind: 'replaced' });
    expect(readdirSync(folder)).toEqual(['A001C001']);
    expect(onDisk(folder)).toEqual([...bell]);
  });

  test.each<[string, RegExp, (path: string) => void]>([
    ['a file', /^a file$/, (path) => writeFileSync(path, 'of somebody else')],
    ['a symbolic link', /^a symbolic link$/, (path) => symlinkSync('elsewhere', path)],
    ['an empty folder', /^an empty folder$/, (path) => mkdirSync(path)],
    [
      'a folder of other files',
      /^a folder of 1 files, 4 bytes, XXH128 [0-9a-f]{32} of their checksum list, that no report of ours names$/,
      (path) => makeFrames(path, ['else']),
    ],
    [
      'the same files and one more',
      /^a folder of 5 files/,
      (path) => makeFrames(path, [...bell, 'an encore']),
    ],
    ['the same files without the last', /^a folder of 3 files/, (path) => makeFrames(path, bell.slice(0, 3))],
    [
      'the same files with two swapped',
      /^a folder of 4 files/,
      (path) => makeFrames(path, [bell[1], bell[0], bell[2], bell[3]]),
    ],
    [
      'the same files and a hidden one',
      /^a folder in which a hidden file lies: \.DS_Store$/,
      (path) => writeFileSync(join(makeFrames(path, bell), '.DS_Store'), ''),
    ],
    [
      'the same files and a folder',
      /^a folder in which a folder lies: more$/,
      (path) => mkdirSync(join(makeFrames(path, bell), 'more')),
    ],
  ])('does not take the name of %s', async (_, found, put) => {
    const folder = freshFolder();
    const request = await staged(folder);
    put(request.final);
    const before = execFileSync('ls', ['-lAR', request.final], { encoding: 'utf8' });
    const outcome = await publishFolder(request);
    expect(outcome).toEqual({ kind: 'taken', found: expect.stringMatching(found) });
    expect(execFileSync('ls', ['-lAR', request.final], { encoding: 'utf8' })).toBe(before);
    expect(readFrames(request.staged)).toEqual([...bell]);
  });

  test('an older one of ours in which something else lies is not taken away', async () => {
    const folder = freshFolder();
    const isOurs = await older(folder);
    writeFileSync(join(folder, 'A001C001', 'notes.txt'), 'the bell cracked');
    expect(await publishFolder({ ...(await staged(folder)), isOurs })).toMatchObject({ kind: 'taken' });
    expect(readFileSync(join(folder, 'A001C001', 'notes.txt'), 'utf8')).toBe('the bell cracked');
  });

  const frame = frameName(86_401);
  test.each<[string, (path: string) => void]>([
    ['is gone', (path) => rmSync(path, { recursive: true })],
    [
      'was replaced by another one of the same files',
      (path) => {
        makeFrames(`${path}2`, bell);
        rmSync(path, { recursive: true });
        renameSync(`${path}2`, path);
      },
    ],
    [
      'is a file now',
      (path) => {
        rmSync(path, { recursive: true });
        writeFileSync(path, 'x');
      },
    ],
    ['lacks a frame', (path) => rmSync(join(path, frame))],
    ['has a frame more', (path) => writeFileSync(join(path, 'encore.exr'), '')],
    ['has a hidden file', (path) => writeFileSync(join(path, '.DS_Store'), '')],
    ['has a frame cut short', (path) => truncateSync(join(path, frame), 3)],
    ['has a frame under another name', (path) => renameSync(join(path, frame), join(path, 'renamed.exr'))],
    [
      'has a frame that is another file of the same size',
      (path) => {
        writeFileSync(join(path, '..', 'other'), 'the silver');
        renameSync(join(path, '..', 'other'), join(path, frame));
      },
    ],
    [
      'has a frame that is another file of the same size, maybe by the number of the one that is gone',
      (path) => {
        rmSync(join(path, frame));
        writeFileSync(join(path, frame), 'the silver');
      },
    ],
    ['has a frame into which somebody wrote', (path) => writeFileSync(join(path, frame), 'the silver')],
    [
      'has a link for a frame',
      (path) => {
        renameSync(join(path, frame), join(path, '..', 'moved'));
        symlinkSync('../moved', join(path, frame));
      },
    ],
  ])('that %s since it was checked is not published', async (_, spoil) => {
    const folder = freshFolder();
    const request = await staged(folder);
    // File systems stamp with the time of the last tick: two changes within one have one stamp.
    await new Promise((resolve) => setTimeout(resolve, 30));
    spoil(request.staged);
    await expect(publishFolder(request)).rejects.toThrow(StagedFileLostError);
    expect(existsSync(request.final)).toBe(false);
  });

  test('whose frames were only touched since it was checked is read again where it was, and published', async () => {
    const folder = freshFolder();
    const request = await staged(folder);
    await new Promise((resolve) => setTimeout(resolve, 30));
    chmodSync(join(request.staged, frame), 0o600);
    expect(await publishFolder(request)).toEqual({ kind: 'published' });
  });

  test.each<[string, (path: string) => void]>([
    ['a link', (path) => symlinkSync(frame, join(path, 'more'))],
    ['a second folder', (path) => mkdirSync(join(path, 'more'))],
  ])('that was checked with %s in it is not published', async (_, put) => {
    const folder = freshFolder();
    const request = await staged(folder);
    put(request.staged);
    await expect(
      publishFolder({ ...request, checked: await digestOfFolder(request.staged) }),
    ).rejects.toThrow('lies in it: more');
    expect(existsSync(request.final)).toBe(false);
  });

  test('of nothing is not published', async () => {
    await expect(publishFolder(await staged(freshFolder(), []))).rejects.toThrow('nothing lies in it');
  });
});

describe('a move that fails', () => {
  const fails = (code: string): Error => Object.assign(new Error(code), { code });
  /** Real moves, but for that one of the number `at`, counted from 1. */
  function failing(at: number, code: string): FolderMoves {
    let count = 0;
    const step = (): void => {
      count += 1;
      if (count === at) throw fails(code);
    };
    return {
      rename: async (from, to) => {
        step();
        await rename(from, to);
      },
      remove: async (folder) => {
        step();
        await rm(folder, { recursive: true });
      },
    };
  }

  test.each(['ENOSPC', 'EROFS', 'EIO', 'EXDEV'])(
    'with %s: the name stays free, and what was staged stays',
    async (code) => {
      const folder = freshFolder();
      const request = await staged(folder);
      await expect(publishFolder(request, failing(1, code))).rejects.toMatchObject({ code });
      expect(readdirSync(folder)).toEqual([basename(request.staged)]);
    },
  );

  test.each([
    ['aside', 1],
    ['to the name', 2],
  ])('%s: the older folder has its name', async (_, at) => {
    const folder = freshFolder();
    const isOurs = await older(folder);
    const request = await staged(folder);
    await expect(publishFolder({ ...request, isOurs }, failing(at, 'EIO'))).rejects.toMatchObject({
      code: 'EIO',
    });
    expect(readdirSync(folder).sort()).toEqual([basename(request.staged), 'A001C001']);
    expect(onDisk(folder)).toEqual(['yesterday', 'and the day before']);
  });

  test('the older one cannot be removed: the new one stands all the same', async () => {
    const folder = freshFolder();
    const isOurs = await older(folder);
    expect(await publishFolder({ ...(await staged(folder)), isOurs }, failing(3, 'EIO'))).toEqual({
      kind: 'replaced',
    });
    expect(onDisk(folder)).toEqual([...bell]);
    expect(readdirSync(folder)).toHaveLength(2);
  });

  test('an answer that was lost: the rename had worked', async () => {
    const folder = freshFolder();
    const moves: FolderMoves = {
      rename: async (from, to) => {
        await rename(from, to);
        throw fails('ENOENT');
      },
      remove: async () => undefined,
    };
    expect(await publishFolder(await staged(folder), moves)).toEqual({ kind: 'published' });
    expect(onDisk(folder)).toEqual([...bell]);
  });

  test('somebody takes the name at the last moment: his folder stands', async () => {
    const folder = freshFolder();
    let late = true;
    const moves: FolderMoves = {
      rename: async (from, to) => {
        if (late) makeFrames(to, ['of somebody else']);
        late = false;
        await rename(from, to);
      },
      remove: (path) => rm(path, { recursive: true }),
    };
    expect(await publishFolder(await staged(folder), moves)).toMatchObject({ kind: 'taken' });
    expect(onDisk(folder)).toEqual(['of somebody else']);
  });

  test('another folder stands under the name when the older one is moved aside: it gets its name back', async () => {
    const folder = freshFolder();
    const isOurs = await older(folder);
    let late = true;
    const moves: FolderMoves = {
      rename: async (from, to) => {
        if (late) {
          await rm(from, { recursive: true });
          makeFrames(from, ['of somebody else']);
        }
        late = false;
        await rename(from, to);
      },
      remove: (path) => rm(path, { recursive: true }),
    };
    expect(await publishFolder({ ...(await staged(folder)), isOurs }, moves)).toMatchObject({
      kind: 'taken',
    });
    expect(onDisk(folder)).toEqual(['of somebody else']);
  });
});

describe('several publishers at once', () => {
  const program = join(packageFolder, 'test/faults/publish-folder-once.mjs');

  async function race(
    folder: string,
    contents: readonly (readonly string[])[],
    olderDigest = '',
  ): Promise<string[]> {
    const at = String(Date.now() + 1_000);
    return await Promise.all(
      contents.map(async (frames, index) => {
        const { staged: path, final } = await staged(folder, frames, `.rushlight-part-${index}`);
        const child = spawn(process.execPath, [program, path, final, at, olderDigest], {
          stdio: ['ignore', 'pipe', 'inherit'],
        });
        let said = '';
        for await (const chunk of child.stdout) said += String(chunk);
        return said;
      }),
    );
  }

  test('of the same frames: one publishes, the others find it done', async () => {
    const folder = freshFolder();
    expect((await race(folder, [bell, bell, bell])).toSorted()).toEqual([
      'already-there',
      'already-there',
      'published',
    ]);
    expect(readdirSync(folder)).toEqual(['A001C001']);
    expect(onDisk(folder)).toEqual([...bell]);
  });

  test('of different frames: exactly one wins and is whole', async () => {
    const folder = freshFolder();
    const contents = ['a', 'b', 'c'].map((letter) => bell.map((frame) => frame + letter));
    const said = await race(folder, contents);
    expect(said.toSorted()).toEqual(['published', 'taken', 'taken']);
    expect(onDisk(folder)).toEqual(contents[said.indexOf('published')]);
  });

  test('of the same frames over an older folder: it is replaced, and nobody finds the name taken', async () => {
    const folder = freshFolder();
    const { xxh128 } = await digestOfFolder(makeFrames(join(folder, 'A001C001'), ['yesterday']));
    const said = await race(folder, [bell, bell, bell], xxh128);
    expect(said.filter((kind) => !['published', 'replaced', 'already-there'].includes(kind))).toEqual([]);
    expect(said.some((kind) => kind !== 'already-there')).toBe(true);
    expect(readdirSync(folder)).toEqual(['A001C001']);
    expect(onDisk(folder)).toEqual([...bell]);
  });
});

describe('a volume', () => {
  function mounted(kilobytes: number): string {
    const folder = freshFolder('volume');
    execFileSync('mount', ['-t', 'tmpfs', '-o', `size=${kilobytes}k`, 'rushlight-test', folder]);
    onTestFinished(() => {
      execFileSync('umount', ['-l', folder]);
    });
    return folder;
  }

  test('that is full takes no checksum list, and no part of one is left; the folder can still have its name', async (context) => {
    needsRoot(context);
    const folder = mounted(256);
    const request = await staged(
      folder,
      bell.map((frame) => frame.repeat(500)),
    );
    execFileSync('sh', ['-c', `cat /dev/zero > ${join(folder, 'ballast')} 2>/dev/null || true`]);
    const failed = await storeChecksumList(folder, 'A001C001', 'master', request.checked).then(
      () => null,
      (error: unknown) => error,
    );
    expect(targetStateOf(failed, folder)).toBe('full');
    expect(
      execFileSync('find', [folder, '-name', '*.sha256', '-o', '-path', '*/reports/*', '-type', 'f'], {
        encoding: 'utf8',
      }),
    ).toBe('');
    expect(await publishFolder(request)).toEqual({ kind: 'published' });
    expect(onDisk(folder)).toHaveLength(4);
  });

  test('that is read-only from the moment of publishing on: nothing changes, and later it is done', async (context) => {
    needsRoot(context);
    const folder = mounted(1_024);
    const isOurs = await older(folder);
    const request = { ...(await staged(folder)), isOurs };
    execFileSync('mount', ['-o', 'remount,ro', folder]);
    const failed = await publishFolder(request).then(
      () => null,
      (error: unknown) => error,
    );
    expect(targetStateOf(failed, folder)).toBe('read-only');
    expect(onDisk(folder)).toEqual(['yesterday', 'and the day before']);
    execFileSync('mount', ['-o', 'remount,rw', folder]);
    expect(await publishFolder(request)).toEqual({ kind: 'replaced' });
    expect(onDisk(folder)).toEqual([...bell]);
  });
});

describe('a worker that dies', () => {
  const profile = loaded('master', 'hash-master');
  const place = (delivery: string, name: string): string => layout.deliverable(delivery, 'master', name);

  /** As `publish` of worker/publish-deliverable.ts has it when it gives the name: staged, listed, reported as `publishing`. The process of the staging name is gone. */
  async function prepared(olderFrames: readonly string[] | null): Promise<{
    job: Job;
    delivery: string;
    report: DeliverableReport;
    request: FolderRequest;
    olderDigest: string;
  }> {
    const delivery = freshFolder('delivery');
    const gone = spawnSync('true').pid;
    const folder = layout.profileFolder(delivery, 'master');
    mkdirSync(folder);
    const path = makeFrames(
      layout.stagingFolder(delivery, 'master', newToken().replace(`-${process.pid}-`, `-${gone}-`)),
      bell,
    );
    const checked = await digestOfFolder(path);
    const olderDigest =
      olderFrames === null
        ? ''
        : (await digestOfFolder(makeFrames(place(delivery, 'A001C001'), olderFrames))).xxh128;
    const whole = reportOf(clip, 'master', 'hash-master');
    const outcome = { ...whole.outcome, fileName: 'A001C001' };
    mkdirSync(join(delivery, 'reports', 'fingerprints'), { recursive: true });
    writeFileSync(join(delivery, 'reports', 'fingerprints', 'A001C001.fingerprints'), 'fingerprints');
    const report: DeliverableReport = {
      ...whole,
      state: 'publishing',
      outcome,
      file: {
        path: 'master/A001C001',
        bytes: checked.bytes,
        xxh128: checked.xxh128,
        sha256: checked.sha256,
        files: 4,
      },
      checksumList: await storeChecksumList(delivery, clip.id, 'master', checked),
      staged: basename(path),
      ...(olderDigest === '' ? {} : { supersedes: [olderDigest] }),
    };
    await writeRecord(layout.deliverableReport(delivery, clip.id, 'master'), deliverableReportSchema, report);
    const job = {
      version: 0,
      night: 'n',
      run: 'r',
      day: 'day-03',
      roll: 'A001',
      rollFolder: '/nowhere',
      deliveryFolder: delivery,
      clip,
      facts,
      span: { start: 0, count: 24 },
      deliverables: [workOf(profile.profile, 'hash-master', whole.outcome)],
      toolchain: toolchain.digest,
    } as Job;
    const [deliverable] = job.deliverables;
    if (deliverable !== undefined) deliverable.outcome.fileName = 'A001C001';
    return {
      job,
      delivery,
      report,
      request: {
        staged: path,
        final: place(delivery, 'A001C001'),
        checked,
        isOurs: (digest) => digest === olderDigest,
      },
      olderDigest,
    };
  }

  function diesAt(request: FolderRequest, olderDigest: string, move: number): void {
    const ended = spawnSync(
      process.execPath,
      [
        join(packageFolder, 'test/faults/publish-folder-once.mjs'),
        request.staged,
        request.final,
        '0',
        olderDigest,
        String(move),
      ],
      { encoding: 'utf8' },
    );
    expect([ended.signal, ended.stdout, ended.stderr]).toEqual(['SIGKILL', '', '']);
  }

  async function nextRun(job: Job, delivery: string): Promise<string> {
    const signal = new AbortController().signal;
    const [found] = await findDeliverables(job, signal);
    if (found === undefined) throw new Error('a job without a deliverable');
    const now =
      found.there === 'staged'
        ? await publishStaged(job, found, { fence: async () => undefined, machine: null, signal })
        : found;
    if (now.there === 'published') await completeRecords(now.completion, delivery);
    await sweepStaging(layout.profileFolder(delivery, 'master'), () => awaitedByOthers(job, 'master'));
    return now.there === 'nothing' ? now.why : now.there === 'published' ? 'finished' : now.there;
  }

  async function gateSays(delivery: string): Promise<string[]> {
    const onDisk = new Map([
      [deliverableKey(clip.id, 'master'), await readDeliverable(delivery, clip.id, 'master', 'measure')],
    ]);
    return judgeDeliverable(
      { clip, facts, loaded: profile },
      { day: 'day-03', roll: 'A001', toolchain, onDisk },
      [],
    ).findings.map((item) => item.code);
  }

  const OLD = ['yesterday', 'and the day before'];
  test.each<[string, readonly string[] | null, number, string[] | null, number]>([
    ['before the name is given', null, 1, null, 1],
    ['when the name was given', null, 2, [...bell], 0],
    ['before the older one is moved', OLD, 1, OLD, 1],
    ['when the older one was moved aside', OLD, 2, null, 2],
    ['when the new one has the name', OLD, 3, [...bell], 1],
    ['in the middle of removing the older one', OLD, 3.5, [...bell], 1],
    ['when the older one was removed', OLD, 4, [...bell], 0],
  ])(
    '%s: what stands is whole, the gate does not call it published, and the next run finishes without making it again',
    async (_, olderFrames, move, stands, lying) => {
      const { job, delivery, request, olderDigest } = await prepared(olderFrames);
      diesAt(request, olderDigest, move);
      expect(existsSync(request.final) ? readFrames(request.final) : null).toEqual(stands);
      expect(readdirSync(dirname(request.final)).filter((name) => name.startsWith('.'))).toHaveLength(lying);
      expect(await gateSays(delivery)).toEqual(['deliverable-unpublished']);
      expect(await nextRun(job, delivery)).toBe('finished');
      expect(readFrames(request.final)).toEqual([...bell]);
      expect(readdirSync(dirname(request.final))).toEqual(['A001C001']);
      expect(await gateSays(delivery)).toEqual([]);
      const read = await readRecord(
        layout.deliverableReport(delivery, clip.id, 'master'),
        deliverableReportSchema,
      );
      expect(read).toMatchObject({ state: 'read', value: { state: 'published', file: { files: 4 } } });
      expect(read.state === 'read' && 'staged' in read.value).toBe(false);
    },
  );

  const absent = 'the file cannot be read (ENOENT)';
  test.each<[string, (request: FolderRequest, job: Job) => void, string]>([
    [
      'one byte of it differs',
      ({ staged: path }) => writeFileSync(join(path, frameName(86_401)), 'the brOnze'),
      absent,
    ],
    ['a frame of it is gone', ({ staged: path }) => rmSync(join(path, frameName(86_403))), absent],
    ['something else lies in it', ({ staged: path }) => writeFileSync(join(path, '.DS_Store'), ''), absent],
    ['it is gone', ({ staged: path }) => rmSync(path, { recursive: true }), absent],
    [
      'it is wanted with another profile',
      (_, job) => void Object.assign(job.deliverables[0] as object, { profileHash: 'other' }),
      'made with another profile',
    ],
  ])('and of whose folder %s: it is not published, and swept', async (_, spoil, why) => {
    const { job, delivery, request } = await prepared(null);
    spoil(request, job);
    expect(await nextRun(job, delivery)).toBe(why);
    expect(readdirSync(dirname(request.final))).toEqual([]);
  });

  test('and whose folder is of a process that runs: nobody touches it', async () => {
    const { job, delivery, request, report } = await prepared(null);
    const name = layout.stagingFolder(delivery, 'master', newToken());
    renameSync(request.staged, name);
    await writeRecord(layout.deliverableReport(delivery, clip.id, 'master'), deliverableReportSchema, {
      ...report,
      staged: basename(name),
    });
    expect(await nextRun(job, delivery)).not.toBe('finished');
    expect(readdirSync(dirname(request.final))).toEqual([basename(name)]);
    expect(readFrames(name)).toEqual([...bell]);
  });

  test("and whose folder another clip's job comes upon: it is left for its own job", async () => {
    const { job, request, delivery } = await prepared(null);
    const other = { ...job, clip: { ...clip, id: 'A001C002' } };
    await sweepStaging(layout.profileFolder(delivery, 'master'), () => awaitedByOthers(other, 'master'));
    expect(readFrames(request.staged)).toEqual([...bell]);
    await sweepStaging(layout.profileFolder(delivery, 'master'), () => awaitedByOthers(job, 'master'));
    expect(existsSync(request.staged)).toBe(false);
  });

  test('before anything was reported: what it left is swept', async () => {
    const { job, request, delivery } = await prepared(null);
    rmSync(join(delivery, 'reports'), { recursive: true });
    await sweepStaging(layout.profileFolder(delivery, 'master'), () => awaitedByOthers(job, 'master'));
    expect(existsSync(request.staged)).toBe(false);
  });
});

test('a sweep takes our own staging folders with all in them, and nothing that only looks like it', async () => {
  const folder = freshFolder('sweep');
  const gone = spawnSync('true').pid;
  const token = newToken().replace(`-${process.pid}-`, `-${gone}-`);
  makeFrames(join(folder, `.rushlight-part-${token}`), bell);
  makeFrames(join(folder, `.rushlight-part-${token}.older`), bell);
  const kept = [
    'A001C001',
    `.rushlight-part-${newToken()}`,
    `.rushlight-part-another${token}`,
    `.rushlight-part-${token}-copy`,
    `rushlight-part-${token}`,
  ];
  for (const name of kept) makeFrames(join(folder, name), bell);
  makeFrames(join(folder, 'A001C001', 'deep'), bell);
  const linked = newToken().replace(`-${process.pid}-`, `-${gone}-`);
  symlinkSync('A001C001', join(folder, `.rushlight-part-${linked}`));
  linkSync(join(folder, 'A001C001', frameName(86_400)), join(folder, `.rushlight-part-${linked}.mov`));
  await sweepStaging(folder);
  expect(readdirSync(folder).sort()).toEqual([...kept].sort());
  for (const name of kept)
    expect(readdirSync(join(folder, name))).toEqual(
      expect.arrayContaining([frameName(86_400), frameName(86_403)]),
    );
});
