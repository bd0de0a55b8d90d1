// Print buttons work only with a script, so they start hidden.
import { all } from './page.js';

for (const button of all('[data-print]')) {
  button.hidden = false;
  button.addEventListener('click', () => print());
}
