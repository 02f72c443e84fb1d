/** Sources as the compiler reads them. Its programming interface bears the name `unstable`; the package's version is fixed. */
import { join } from 'node:path';
import type { Node, SourceFile } from 'typescript/unstable/ast';
import { API } from 'typescript/unstable/sync';
import { packageFolder } from '../../files/installation.ts';

/** `visit` sees every node of these files (from the package folder), those inside others too. Throws for a file that is not of the project. */
export function visitSources(
  files: readonly string[],
  visit: (node: Node, source: SourceFile, file: string) => void,
): void {
  const compiler = new API({ cwd: packageFolder });
  try {
    const project = compiler
      // Without what the sources import: only they are read.
      .updateSnapshot({ openProject: join(packageFolder, 'test/house/trees.tsconfig.json') })
      .getProjects()[0];
    for (const file of files) {
      const source = project?.program.getSourceFile(join(packageFolder, file));
      if (source === undefined) throw new Error(`${file} is no source of the project`);
      const walk = (node: Node): undefined => {
        visit(node, source, file);
        node.forEachChild(walk);
      };
      walk(source);
    }
  } finally {
    compiler.close();
  }
}
