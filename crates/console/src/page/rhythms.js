// Rhythms found by what people type: names, everyday words, abbreviations.

function rank(rhythm, typed) {
  const words = [rhythm.id.replaceAll("-", " "), rhythm.name.toLowerCase(), ...rhythm.words];
  if (words.includes(typed)) return 0;
  if (rhythm.words.some((word) => word.startsWith(typed))) return 1;
  if (words.some((word) => word.split(/[ ,]+/).some((part) => part.startsWith(typed)))) return 2;
  return words.some((word) => word.includes(typed)) ? 3 : 4;
}

/** The rhythms that are meant by what was typed, the likeliest first; null for nothing typed. */
export function search(rhythms, words) {
  const typed = words.trim().toLowerCase().replaceAll("-", " ");
  if (!typed) return null;
  const ranked = rhythms.map((rhythm, place) => ({ rhythm, place, rank: rank(rhythm, typed) })).filter((of) => of.rank < 4);
  ranked.sort((a, b) => a.rank - b.rank || a.place - b.place);
  return ranked.map((of) => of.rhythm);
}
