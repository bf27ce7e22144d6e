// Sentences, made of templates and data as the tool's own texts are: each place is filled once.

function readReasons(block, count) {
  const list = ({ counts, kinds, values }) => {
    let begin;
    let kindAt;
    let valueAt;
    return (index) => {
      if (!begin) {
        begin = starts(counts, count);
        kindAt = unpack(kinds, begin[count]);
        valueAt = unpack(values, begin[count]);
      }
      const found = [];
      for (let at = begin[index]; at < begin[index + 1]; at += 1) {
        const [template, subject, limit, passed] = block.kinds[kindAt[at]];
        found.push({ template, subject, limit, passed, value: block.amounts[valueAt[at]] });
      }
      return found;
    };
  };
  const reasons = list(block.reasons);
  const stops = list(block.stops);
  return {
    sentences: (index) => [...new Set(reasons(index).map(sentence))],
    // The gravest: reasons stand in the order of their weight, but for rules that are named because they hold.
    first(index) {
      const all = reasons(index);
      const gravest = all.find(({ passed }) => !passed) || all[0];
      return gravest ? sentence(gravest) : "";
    },
    // What stopped a pump family at a site, without the family's name in front.
    stop: (index, family) =>
      stops(index)
        .filter(({ subject }) => subject === FAMILY_WORDS[family] || subject === family)
        .map((found) => capital(sentence({ ...found, template: found.template.replace("{subject}: ", "") })))
        .join(" "),
  };
}

function capital(text) {
  return text.charAt(0).toUpperCase() + text.slice(1);
}

function sentence({ template, ...parts }) {
  return template.replace(/\{(subject|value|limit)\}/g, (_, place) => parts[place]);
}
