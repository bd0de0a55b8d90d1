// What an order comes to follows the form: once its draft is kept, the summary is asked for again.
import { all, latest } from './page.js';

for (const target of all('[data-summary]')) {
  const part = latest();
  document.querySelector('form[data-draft]')?.addEventListener('kept', async () => {
    try { target.innerHTML = await part(target.dataset.summary, {}); } catch { /* the button still reviews it */ }
  });
}
