// Puts the cursor where the first change is needed.
import { all, attempt } from './page.js';

const wrong = document.querySelector('main [aria-invalid=true]');
if (wrong) (wrong.matches('fieldset') ? wrong.querySelector('input') ?? wrong : wrong).focus();

// "/" goes to the scan box from anywhere but a field. One-key shortcuts can be switched off.
const scan = document.querySelector('input[data-scan]');
const keysOff = () => attempt(() => localStorage.getItem('one-key') === 'off', false);
for (const box of all('input[data-one-key]')) {
  box.checked = !keysOff();
  box.addEventListener('change', () => attempt(() => localStorage.setItem('one-key', box.checked ? 'on' : 'off')));
}
scan?.addEventListener('focus', () => scan.select());
document.addEventListener('keydown', (event) => {
  if (event.key !== '/' || event.ctrlKey || event.metaKey || event.altKey || !scan || keysOff()) return;
  if (event.target.closest?.('input, select, textarea, [contenteditable]')) return;
  event.preventDefault();
  scan.focus();
});
