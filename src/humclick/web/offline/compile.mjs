// Rewrites zip files with Python compiled by the very interpreter that will read it: most of a start is saved.
// Arguments: pairs of a zip file and the folder its files will stand in. With the engine, its templates are compiled
// too, and what its import works out is kept (`humclick.web.prepared`). Of Python's library, tools for programmers and
// what a browser cannot do or never asks for stay out: a seventh of the first download.
import fs from "node:fs";
import { pathToFileURL } from "node:url";

const [runtime, ...jobs] = process.argv.slice(2);
const { loadPyodide } = await import(pathToFileURL(runtime + "/pyodide.mjs").href);
const py = await loadPyodide();
py.runPython(`
import re, zipfile
from importlib._bootstrap_external import _code_to_timestamp_pyc as pyc

UNUSED = set("""
_pydatetime _pydecimal _pyio _pyrepl antigravity bdb cProfile cmd code colorsys compileall configparser doctest filecmp
fileinput ftplib getpass imaplib mailbox modulefinder multiprocessing netrc optparse pdb pickletools plistlib poplib
profile pstats pty py_compile pyclbr pydoc rlcompleter sched shelve smtplib socketserver symtable tabnanny this timeit
trace tty turtle unittest wave webbrowser wsgiref xml xmlrpc zipapp
""".split())

def rewrite(folder):
    with zipfile.ZipFile("/in.zip") as old, zipfile.ZipFile("/out.zip", "w", zipfile.ZIP_STORED) as new:
        for name in sorted(old.namelist()):
            if name.endswith("/") or folder.endswith(".zip") and re.split("[/.]", name)[0] in UNUSED:
                continue
            data = old.read(name)
            if name.endswith(".py"):
                code = compile(data, folder + "/" + name, "exec", dont_inherit=True)
                data, name = bytes(pyc(code, 0, 0)), name + "c"
            new.writestr(zipfile.ZipInfo(name, (2020, 1, 1, 0, 0, 0)), data)

def with_engine_prepared(folder):
    with zipfile.ZipFile("/in.zip", "a") as zip:
        if "humclick/web/engine.py" not in zip.namelist():
            return
        zip.extractall(folder)
        data = [name for name in zip.namelist() if name.startswith("humclick/") and name.endswith(".toml")]
        parts = [(*name.replace("/", ".").removesuffix(".toml").rpartition("."), zip.read(name)) for name in data]
        from humclick.web import prepared
        recorded = prepared.recorded((package, name + ".toml", text.decode()) for package, _, name, text in parts)
        from humclick.web import engine, typeset
        zip.writestr(f"humclick/web/{prepared.FILE}", recorded())
        for name, text in typeset.compiled().items():
            zip.writestr(f"humclick/web/{typeset.COMPILED}/{name}", text)
`);
for (let at = 0; at < jobs.length; at += 2) {
  py.FS.writeFile("/in.zip", fs.readFileSync(jobs[at]));
  py.globals.get("with_engine_prepared")(jobs[at + 1]);
  py.globals.get("rewrite")(jobs[at + 1]);
  fs.writeFileSync(jobs[at], py.FS.readFile("/out.zip"));
}
