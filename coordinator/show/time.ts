/** A moment as people read it. */
export { momentText } from '../../findings/human.ts';
