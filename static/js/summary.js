// What an order comes to follows the form: once its draft is kept, the summary is asked for again.
import { all, latest } from './page.js';

// A question that it asks is shown where it stands.
for (const target of all('[data-summary]')) {
  const part = latest();
  const open = () => {
    for (const { dataset } of all('[data-opens]', target)) {
      const question = document.getElementById(dataset.opens);
      if (question) question.hidden = false;
    }
  };
  document.querySelector('form[data-draft]')?.addEventListener('kept', async () => {
    try { target.innerHTML = await part(target.dataset.summary, {}); open(); } catch { /* the button still reviews it */ }
  });
}
