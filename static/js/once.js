// One press, one post. The button that was pressed keeps its name and value in the post,
// so it is disabled only after the browser has gathered the fields.
import { all } from './page.js';

document.addEventListener('submit', (event) => {
  const form = event.target;
  const method = event.submitter?.getAttribute('formmethod') ?? form.method;
  if (event.defaultPrevented || method === 'get') return;
  if (form.dataset.sent) { event.preventDefault(); return; }
  form.dataset.sent = 'yes';
  setTimeout(() => {
    for (const button of all('button:not([type=button]):not(:disabled)', form)) {
      button.disabled = true;
      button.dataset.held = 'yes';
    }
  });
});
addEventListener('pageshow', () => {
  for (const form of all('form[data-sent]')) delete form.dataset.sent;
  for (const button of all('button[data-held]')) { button.disabled = false; delete button.dataset.held; }
});
