/**
 * Imported first by a program: V8 compiles a function for speed only when it has run for a while longer than it would by default. Our
 * processes do most of what they do once or for one clip, and V8's own threads, which compile and collect, take a quarter of their processor
 * time (docs/bench.md). A function that is hot for a few milliseconds is compiled all the same; kernels are WebAssembly, which has its own
 * rule. A V8 that does not know the word says so on stderr and goes on.
 */
import { setFlagsFromString } from 'node:v8';

/** Weighted bytes of bytecode that run before a function is looked at. */
setFlagsFromString('--interrupt-budget=2000000');
