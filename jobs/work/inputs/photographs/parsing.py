"""An upload: multipart/form-data of texts and files, each name once."""

from collections.abc import Mapping
from typing import Any

from django.core.exceptions import SuspiciousOperation
from django.http.multipartparser import MultiPartParser, MultiPartParserError
from rest_framework.exceptions import ParseError
from rest_framework.parsers import BaseParser, DataAndFiles

REPLACED = "\ufffd"  # what Django puts where bytes are not UTF-8


class UploadParser(BaseParser):
    """Reads multipart/form-data as UTF-8."""

    media_type = "multipart/form-data"

    def parse(
        self,
        stream: Any,
        media_type: str | None = None,
        parser_context: Mapping[str, Any] | None = None,
    ) -> Any:
        request = (parser_context or {})["request"]
        meta = {**request.META, "CONTENT_TYPE": media_type}
        try:
            texts, files = MultiPartParser(meta, stream, request.upload_handlers, "utf-8").parse()
        except (MultiPartParserError, SuspiciousOperation) as error:
            # SuspiciousOperation: more fields or files than Django reads.
            raise ParseError(f"The form cannot be read: {error}") from error
        for name in {*texts, *files}:
            values = [*texts.getlist(name), *files.getlist(name)]
            if len(values) > 1:
                raise ParseError(f"The form has {name[:40]!r} more than once.")
            if REPLACED in name or REPLACED in str(texts.get(name, "")):
                raise ParseError("The form holds text that is not UTF-8, or a file without a name.")
        return DataAndFiles(texts, files)
