// Bundles a JupyterLab application from its npm packages; run in the folder that holds their node_modules:
//
//     node build.js OUT
//
// Every package that says of itself that it extends JupyterLab goes in, with its settings' schemas and themes, but for
// those that would ask the network or that need what the small server does not have.
const { build } = require(require.resolve("esbuild", { paths: [process.cwd()] }));
const fs = require("fs");
const path = require("path");

const LEFT_OUT = ["extensionmanager-extension", "pluginmanager-extension", "hub-extension", "lsp-extension", "debugger-extension", "mathjax-extension", "terminal-extension"];
const NOT_STARTED = ["@jupyterlab/apputils-extension:announcements", "@jupyterlab/notebook-extension:language-server",
  "@jupyterlab/fileeditor-extension:language-server"];
const out = path.resolve(process.argv[2]);
const modules = path.join(process.cwd(), "node_modules");
const names = fs.readdirSync(path.join(modules, "@jupyterlab")).filter(name => name.endsWith("-extension") && !LEFT_OUT.includes(name))
  .map(name => "@jupyterlab/" + name).concat("@jupyter-widgets/jupyterlab-manager");

const lines = ['import { JupyterLab } from "@jupyterlab/application";', 'import { IServiceManager } from "@jupyterlab/services";',
  'import { PluginRegistry } from "@lumino/coreutils";'];
const plugins = [], renderers = [];
const themes = {};
names.forEach((name, k) => {
  const about = JSON.parse(fs.readFileSync(path.join(modules, name, "package.json"), "utf8"));
  const { extension, mimeExtension, schemaDir, themePath } = about.jupyterlab;
  for (const [where, list, mark] of [[extension, plugins, "p"], [mimeExtension, renderers, "r"]]) {
    if (where) {
      lines.push(`import ${mark}${k} from ${JSON.stringify(where === true ? name : `${name}/${where}`)};`);
      list.push(mark + k);
    }
  }
  if (about.styleModule) {
    lines.push(`import ${JSON.stringify(`${name}/${about.styleModule}`)};`);
  }
  if (schemaDir) {
    fs.cpSync(path.join(modules, name, schemaDir), path.join(out, "schemas", name), { recursive: true });
  }
  if (themePath) {
    themes[`themes/${name}/index`] = path.join(modules, name, themePath);
  }
});
lines.push(`const plugins = [${plugins}].flat();
(async () => {
  const pluginRegistry = new PluginRegistry();
  pluginRegistry.registerPlugins(plugins);
  const serviceManager = await pluginRegistry.resolveRequiredService(IServiceManager);
  const application = new JupyterLab({ pluginRegistry, serviceManager, mimeExtensions: [${renderers}].flat() });
  window.application = application;
  await application.start({ ignorePlugins: ${JSON.stringify(NOT_STARTED)} });
})();`);

// A picture that a style sheet names is an address; one that a script imports is its text.
const pictures = {
  name: "pictures",
  setup(at) {
    at.onLoad({ filter: /\.svg$/ }, file => ({ contents: fs.readFileSync(file.path), loader: file.suffix === "?url" ? "dataurl" : "text" }));
    // Some style sheets mark the name of a package with a tilde.
    at.onResolve({ filter: /^~/ }, asked => at.resolve(asked.path.slice(1), { kind: asked.kind, resolveDir: asked.resolveDir }));
    at.onResolve({ filter: /^[^~].*\.svg$/ }, async asked => {
      if (asked.kind !== "url-token") {
        return undefined;
      }
      return { path: path.resolve(asked.resolveDir, asked.path), suffix: "?url" };
    });
  },
};

// The manager of the widgets fetches some of them later, in a way that only one bundler knows; here they come along.
const widgets = {
  name: "widgets",
  setup(at) {
    at.onLoad({ filter: /jupyterlab-manager[\\/]lib[\\/]plugin\.js$/ }, file => {
      const text = fs.readFileSync(file.path, "utf8");
      const whole = text.replace(/require\.ensure\(\[[^\]]*\],\s*\(require\) =>/, "((_, begin) => begin())([], () =>");
      if (whole === text) {
        throw new Error("the widgets' manager fetches its controls in another way than this script knows");
      }
      return { contents: whole };
    });
  },
};

// A library that is written in two module formats is held once, whichever format asks for it.
const once = {
  name: "once",
  setup(at) {
    at.onResolve({ filter: /^(yjs|y-protocols|lib0|@codemirror|@lezer|@lumino)(\/|$)/ }, asked => asked.kind === "require-call"
      ? at.resolve(asked.path, { kind: "import-statement", resolveDir: asked.resolveDir, importer: asked.importer }) : undefined);
  },
};

build({
  stdin: { contents: lines.join("\n"), resolveDir: process.cwd(), sourcefile: "index.js" },
  bundle: true, format: "esm", splitting: true, minify: true, outdir: path.join(out, "static"), entryNames: "[name]",
  loader: { ".woff": "file", ".woff2": "file", ".ttf": "file", ".eot": "file", ".png": "file", ".gif": "file", ".raw": "text", ".md": "text" },
  define: { "process.env.NODE_ENV": '"production"', "process.env": "{}", global: "globalThis" },
  plugins: [pictures, once, widgets], logLevel: "warning", logLimit: 20,
}).then(() => build({
  entryPoints: themes, bundle: true, outdir: out, plugins: [pictures], minify: true, logLevel: "warning",
  loader: { ".woff": "file", ".woff2": "file", ".ttf": "file", ".eot": "file" },
})).catch(() => process.exit(1));
