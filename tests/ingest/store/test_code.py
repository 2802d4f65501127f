"""The key of the code: another text, another name, another library, another key; nothing else is another one."""

from ingest.store.code import code_of


def test_it_hangs_on_every_file_and_on_nothing_else(tmp_path):
    def key(*files, built_on=("numpy",)):
        root = tmp_path / str(len(list(tmp_path.iterdir())))
        for name, text in files:
            (root / name).parent.mkdir(parents=True, exist_ok=True)
            (root / name).write_text(text)
        return code_of(root, built_on=built_on)

    first = key(("a.py", "1"), ("b/c.py", "2"))
    assert key(("b/c.py", "2"), ("a.py", "1"), ("b/notes.md", "3")) == first
    others = [
        key(("a.py", "1"), ("b/c.py", "3")),
        key(("a.py", "1"), ("b/d.py", "2")),
        key(("a.py", "1")),
        key(("a.py", "1"), ("b/c.py", "2"), built_on=("numpy", "polars")),
    ]
    assert len({first, *others}) == 5
