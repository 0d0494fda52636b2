// Makes the faces of the pages: the glyphs that app.css says the pages use (unicode-range), cut
// out of the whole faces that go-fonts/dejavu carries, as woff2 and without hints, which are half of a
// face and tell today's screens little. Run it when that range grows:
//
//	npm install subset-font@2.9.0        (BSD-3-Clause; nothing of it is shipped)
//	node web/fonts.mjs SANS.ttf SANS-BOLD.ttf MONO.ttf
import fs from "node:fs";
import subsetFont from "subset-font";

const css = fs.readFileSync("web/static/app.css", "utf8");
const ranges = /unicode-range:\s*([^;]+);/.exec(css)[1].split(",").map((r) => r.trim().slice(2).split("-").map((h) => parseInt(h, 16)));
const text = ranges.map(([a, b = a]) => Array.from({ length: b - a + 1 }, (_, i) => String.fromCodePoint(a + i)).join("")).join("");
for (const [i, name] of ["sans", "sans-bold", "mono"].entries()) {
	const face = await subsetFont(fs.readFileSync(process.argv[2 + i]), text, { targetFormat: "woff2", noHinting: true });
	fs.writeFileSync(`web/static/fonts/${name}.woff2`, face);
}
