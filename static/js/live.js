// Figures follow a form while it is typed in: the answer for its fields replaces the element it names.
import { all, latest } from './page.js';

for (const form of all('form[data-live]')) {
  const target = document.getElementById(form.dataset.liveFor);
  if (!target) continue;
  const part = latest();
  const ask = async () => {
    const opened = all('details', target).map((each) => each.open);
    try {
      target.innerHTML = await part(form.dataset.live, new FormData(form));
      // The answer repeats an error that still stands.
      for (const old of all('.error', form)) old.remove();
      for (const field of all('[aria-invalid]', form)) field.removeAttribute('aria-invalid');
      all('details', target).forEach((each, i) => { each.open = opened[i] ?? false; });
    } catch { /* the button still asks */ }
  };
  form.addEventListener('input', ask);
}
