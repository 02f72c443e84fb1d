/**
 * What `npm pack` does first: the compiled program and the kernels, so that the package runs where nothing can compile.
 * npm's own list of files (`files` in package.json) takes the rest.
 */
import { bundle } from './bundle.mjs';
import { compile } from './compile.mjs';
import { compileKernels } from './kernels.mjs';

compile();
await bundle();
compileKernels();
