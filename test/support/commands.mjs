/** Runs the commands that it is sent, one at a time, and answers with what each said and its exit code (cli.ts). */
import { runCommand } from '../../dist/program/coordinator/command-line.js';

process.on('message', async ({ args, env }) => {
  const said = { stdout: '', stderr: '' };
  const writers = Object.keys(said).map((name) => {
    const { write } = process[name];
    process[name].write = (text) => {
      said[name] += text;
      return true;
    };
    return () => {
      process[name].write = write;
    };
  });
  const before = Object.keys(env).map((name) => [name, process.env[name]]);
  Object.assign(process.env, env);
  const code = await runCommand(args);
  for (const [name, value] of before) {
    if (value === undefined) delete process.env[name];
    else process.env[name] = value;
  }
  for (const putBack of writers) putBack();
  process.send({ ...said, code });
});
process.on('disconnect', () => process.exit());
