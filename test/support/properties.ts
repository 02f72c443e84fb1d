/** Properties draw the same cases every time, so that a run that fails can be run again; RUSHLIGHT_SEED=<n> draws others. */
import fc from 'fast-check';

fc.configureGlobal({ seed: Number(process.env.RUSHLIGHT_SEED ?? '20261125') });
