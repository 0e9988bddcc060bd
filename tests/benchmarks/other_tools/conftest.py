"""What is here needs the extra ``benchmarks``, which the tests do without: none of it is collected."""

collect_ignore_glob = ["*.py"]
