// Says at once what was understood of a field.
import { all, debounce, latest } from './page.js';

for (const input of all('input[data-understood]')) {
  const line = all('[data-understood-for]').find((each) => each.dataset.understoodFor === input.name);
  if (!line) continue;
  const part = latest();
  const ask = debounce(120, async () => {
    try {
      line.innerHTML = await part(input.dataset.understood, { text: input.value, name: input.name });
      // The page's own warnings were about another text.
      for (const place of [line, line.closest('.field')]) {
        while (place?.nextElementSibling?.matches('.warn')) place.nextElementSibling.remove();
      }
    } catch (fault) { if (fault.name !== 'AbortError') line.textContent = ''; }
  });
  input.addEventListener('input', ask);
  // A refused field has its sentence from the page already.
  if (input.value && !line.textContent.trim() && !input.matches('[aria-invalid=true]')) ask();
}
